"""What a text says to an open question, one fact at a time; answers.py puts them in order."""

from functools import cached_property

from rungwise.reply import kinds
from rungwise.reply.numbers import numbers
from rungwise.reply.pairs import WORST
from rungwise.reply.reading import Context, Hold, Kind
from rungwise.reply.safety import Safety
from rungwise.reply.talk import Talk

# "1", "2" or "3" after "any fall this week?" is how often; more is a hold or a slip of the hand.
MOST_FALLS = 3
# A longer text is a story, in which a "no" may be about anything.
_LONGEST_ANSWER = 9
_FILLER = frozenset({"stop", "comma", "mark", "polite.word"})


class Facts:
    """Every property but the last few is a fact that a row of answers.py may name."""

    def __init__(
        self,
        said: Talk,
        opened: kinds.Opening,
        answered: kinds.YesNo | None,
        context: Context,
        safety: Safety,
        kind: Kind,
        holds: tuple[Hold, ...],
        near_fall: bool,
    ) -> None:
        self.said = said
        self.opened = opened
        self.answered = answered
        self.context = context
        self.safety = safety
        self.kind = kind
        self.hold = bool(holds)
        self.near_fall = near_fall
        self.family = kinds.SAFETY_QUESTIONS.get(context.asked, "pain")
        self.harm = safety.of(self.family).answer

    # What is opened with.

    @cached_property
    def opening(self) -> kinds.YesNo | None:
        """The yes or no that the text opens with, unless a longer phrase begins there."""
        opened = self.opened.end - self.opened.start
        yes = max(self._opens("yes"), opened if self.answered == "yes" else 0)
        if self.only("yes_short") or self._pauses_after("yes_short"):
            yes = max(yes, self._opens("yes_short"))
        no = max(self._opens("no", "doubt_no"), opened if self.answered == "no" else 0)
        within = self._start + max(yes, no) - 1
        neither = max(
            self._opens("comfort", "unknown", "cannot", "what"),
            self._reaches(within, "unknown", "cannot", "what"),
        )
        longest = max(yes, no, neither)
        if not longest:
            return None
        return "no" if no == longest else ("yes" if yes == longest else None)

    @property
    def opens_yes(self) -> bool:
        return self.opening == "yes"

    @property
    def opens_no(self) -> bool:
        return self.opening == "no"

    @property
    def thinks_so(self) -> bool:
        return bool(self._opens("think_so"))

    @property
    def yes_i_am_fine(self) -> bool:
        """ "Yes I'm fine": a yes to being fine. "Yes but I'm fine now" is one to being hurt."""
        if not self.opens_yes or self.emergency:
            return False
        start = self.opened.end
        comforts = self.said.places.get("reply.comfort", [])
        return any(start <= a <= start + 1 for a, _ in comforts) and (
            self.said.parse.seen.isdisjoint({"scope.but", "body", "neg.strong"})
        )

    # Harm.

    @property
    def harm_told(self) -> bool:
        return self.harm == "yes"

    @property
    def no_taken_back(self) -> bool:
        """ "no, only at night": no plain no. Nearly a fall is still no fall."""
        return self.opens_no and self.harm == "unsure" and self.family != "fall"

    @property
    def nearly_fell(self) -> bool:
        return self.near_fall and self.family == "fall"

    @property
    def harm_doubted(self) -> bool:
        """A doubt of pain or dizziness counts as a yes; one of a fall is asked about again."""
        return self.harm == "unsure" and self.family != "fall"

    @property
    def asks_of_a_doubt(self) -> bool:
        return self.harm_doubted and not self.comfort and self.asks

    @property
    def comfort_of_a_doubt(self) -> bool:
        return self.harm_doubted and self.comfort

    @property
    def denied(self) -> bool:
        """A no somewhere, or the harm itself denied: "didn't fall", "nothing broken"."""
        return self.says_no or (bool(self.safety.of(self.family).spans) and self.harm == "no")

    @property
    def emergency(self) -> bool:
        return self.safety.of("emergency").answer == "yes"

    @property
    def emergency_doubted(self) -> bool:
        return self.said.told("talk.emergency_doubt") is not None

    @property
    def pain_beside_a_hold(self) -> bool:
        return self.hold_alone and self.safety.of("pain").answer == "yes"

    @property
    def place_of_pain(self) -> bool:
        """ "7 out of 10 in my wrist", said of a fall: a doubt of pain, and where it is."""
        return self.safety.of("pain").answer == "unsure" and "body" in self.said.parse.seen

    @property
    def hold_alone(self) -> bool:
        return self.hold and self.opening is None and not self.told("comfort")

    @property
    def of_practice(self) -> bool:
        """ "Not today, sorry": a no to the day's practice. "Couldn't get up today" is none."""
        stuck = self.harm_told or self.said.told("reply.cannot") is not None
        return self.kind == "skipped" and not stuck

    # Words for each answer.

    @property
    def says_no(self) -> bool:
        """A no in a short text, or at either end of a story: "the boy did not see me" is none."""
        places = self.said.places.get("reply.no", ())
        last = len(self.said.parse.tokens.words) - 1
        short = last < _LONGEST_ANSWER
        return any(short or first <= self._start + 2 or end >= last - 1 for first, end in places)

    @cached_property
    def cannot(self) -> bool:
        """Cannot get up, move, call; HELP in answer says as much."""
        if self.kind == "help" or self.said.told("reply.cannot") is not None:
            return True
        return self.told("cannot_alone") and self.only("cannot_alone", "no")

    @property
    def cannot_for_sure(self) -> bool:
        return self.cannot and not self.unknown

    @property
    def unknown(self) -> bool:
        return self.told("unknown")

    @property
    def only_unknown(self) -> bool:
        return self.unknown and self.only("unknown")

    @cached_property
    def comfort(self) -> bool:
        return self.told("comfort") or self.only("comfort_word", "comfort")

    @property
    def asks(self) -> bool:
        return (self.told("what") and not self.hold) or self.kind == "question"

    @property
    def asks_by_word(self) -> bool:
        return self.told("what") and not self.hold

    @property
    def asks_only(self) -> bool:
        return self.asks and self.opening is None

    @property
    def asks_with_a_mark(self) -> bool:
        return self.asks_only and "asks" in self.said.parse.seen

    # Numbers.

    @cached_property
    def _number(self) -> float | None:
        """The one bare number that is all the text says; of a score, the first number."""
        told = [one for one in numbers(self.said.parse) if not one.unit]
        if self.context.asked == "pain_score":
            return told[0].value if told else None
        rest = len(self.said.parse.units) - (told[0].last - told[0].first + 1) if told else 0
        return told[0].value if len(told) == 1 and rest <= 2 else None

    @property
    def number(self) -> bool:
        return self._number is not None

    any_number = number

    @property
    def number_nought(self) -> bool:
        return self._number == 0

    @property
    def number_too_great(self) -> bool:
        return self._number is not None and self._number > WORST

    @property
    def few_falls(self) -> bool:
        return self._number is not None and 0 < self._number <= MOST_FALLS

    @property
    def severe(self) -> bool:
        return self.told("severe")

    # When, and whether it is worse than usual.

    @cached_property
    def long_ago(self) -> bool:
        words = self.said.parse.tokens.words
        year = any(w.isdecimal() and len(w) == 4 and w[:2] in ("19", "20") for w in words)
        return year or "dated.old" in self.said

    @property
    def recent(self) -> bool:
        return self.said.told("dated.recent") is not None and not self.long_ago

    @property
    def when_unknown(self) -> bool:
        return self.unknown or "dated.unplaced" in self.said

    @property
    def fine_now(self) -> bool:
        return self.comfort and not self.safety.reported and not self.long_ago

    @property
    def worse(self) -> bool:
        return worse_told(self.said)

    @property
    def same(self) -> bool:
        return self.told("same")

    # After a safety text, and to offers.

    @property
    def will_not_call(self) -> bool:
        return self.told("no_call")

    @property
    def has_called(self) -> bool:
        return self.told("calls")

    @property
    def eased(self) -> bool:
        """ "It's gone now": a comfort, though the same words are a no to pain."""
        comfort = self._opens("comfort")
        return comfort > 0 and comfort >= self._opens("no", "doubt_no")

    @property
    def refused_by_keyword(self) -> bool:
        return self.kind == ("opt_in" if self.context.asked == "stop" else "opt_out")

    @property
    def agreed_by_keyword(self) -> bool:
        return self.kind in ("opt_in", "opt_out") and not self.refused_by_keyword

    @property
    def refuses(self) -> bool:
        return self.opens_no or self.told("refuse")

    @property
    def agrees(self) -> bool:
        return self.told("agree")

    @property
    def asks_before_agreeing(self) -> bool:
        return self.asks and not self._opens("agree")

    @property
    def approves(self) -> bool:
        """A thumb or "fine" to a number or a visit."""
        named = self.context.asked in ("number", "retest")
        return named and self.only("comfort_word", "comfort", "agree")

    @property
    def both_sides(self) -> bool:
        return "talk.both" in self.said and not self.hold

    # How a fact is found.

    def told(self, tag: str) -> bool:
        return f"reply.{tag}" in self.said

    def _opens(self, *tags: str) -> int:
        """How many words of one of these phrases the text opens with; 0 if none."""
        start = self._start
        ends = [
            b
            for tag in tags
            for a, b in self.said.places.get(f"reply.{tag}", ())
            if a <= start <= b
        ]
        return max(ends, default=start - 1) - start + 1

    def _pauses_after(self, tag: str) -> bool:
        """Whether a comma or a stop follows a phrase that the text opens with."""
        end = self._start + self._opens(tag)
        return end > self._start and any(
            unit.start == end and not unit.tags.isdisjoint({"comma", "stop"})
            for unit in self.said.parse.units
        )

    def _reaches(self, within: int, *tags: str) -> int:
        """The same where a phrase begins inside the yes or no: "well no" of "well no idea"."""
        ends = [
            b
            for tag in tags
            for a, b in self.said.places.get(f"reply.{tag}", ())
            if self._start <= a <= within < b
        ]
        return max(ends, default=self._start - 1) - self._start + 1

    @cached_property
    def _start(self) -> int:
        """The first word after any greeting."""
        begins = {
            where[0]
            for tag, places in self.said.places.items()
            if tag.startswith("reply.")
            for where in places
        }
        for unit in self.said.parse.units:
            if unit.tags.isdisjoint(_FILLER) or unit.start in begins:
                return unit.start
        return 0

    def only(self, *tags: str) -> bool:
        """Whether nothing is said beside phrases of these tags, greetings and marks."""
        covered: set[int] = set()
        for tag in tags:
            for first, last in self.said.places.get(f"reply.{tag}", ()):
                covered.update(range(first, last + 1))
        units = self.said.parse.units
        # "Okay" also only opens a text: greetings alone count where they are all there is.
        rest = [unit for unit in units if unit.tags.isdisjoint(_FILLER)] or units
        return bool(covered) and all(covered.issuperset(range(u.start, u.end)) for u in rest)


def worse_told(said: Talk) -> bool:
    """Whether a pain is said to be worse or other than usual; "no worse" is not."""
    same = said.places.get("reply.same", [])
    return any(
        not any(a <= first and last <= b for a, b in same) and not said.denied((first, last))
        for first, last in said.places.get("reply.worse", ())
    )
