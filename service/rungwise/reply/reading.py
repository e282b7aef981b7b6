"""What a reply was read as: plain values, with the words behind each."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Literal

from rungwise.ladder.stance import Answer, Side, Steadiness

# Goes up with every change of what a reply is read as; stored beside each reading.
READER_VERSION = 6

Kind = Literal["result", "skipped", "question", "opt_out", "opt_in", "help", "safety_only", "other"]
Asked = Literal[
    "result",
    "fall_yes_no",
    "pain_yes_no",
    "dizzy_yes_no",
    "hurt",
    "pain_score",
    "steadiness",
    "seconds",
    "sides",
    "retest",
    "emergency_yes_no",
    "today_yes_no",
    "worse_yes_no",
    "fall_weekly",
    "fall_day",
    "number",
    "both_sides",
    "done_seconds",
    "day",
    "away_until",
    "hour",
    "invite",
    "stop",
    "after_emergency",
    "after_distress",
]
Support = Literal["two_hands", "one_hand", "fingertips", "hover"]
Ask = Literal[
    "another_hour",
    "other_days",
    "later_today",
    "away",
    "back",
    "easier",
    "harder",
    "call_me",
    "repeat",
    "picture",
    "how_to",
    "progress",
    "who",
    "new_number",
]
News = Literal["health", "clinician", "loss", "home", "distress"]
MachineMade = Literal["reaction", "quote", "auto_reply", "receipt", "signature"]
OpenAnswer = Literal["yes", "no", "comfort", "cannot", "unknown", "question", "other"]
# The fixed answers, by the name of the text that gives each.
Topic = Literal[
    "how_hold",
    "how_above",
    "how_foot",
    "how_shoes",
    "how_long",
    "how_often",
    "how_missed",
    "how_wobbly",
    "how_stop",
    "how_time",
    "how_alone",
    "sit_or_lie",
    "progress",
    "why_easy",
    "when_ends",
    "cost",
    "who",
]
Weekday = Literal["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]


@dataclass(frozen=True, slots=True)
class Context:
    """What the service knew when the reply came.

    `target_s` the hold asked for; `sided` whether both sides were asked for; `leads` the sides in
    the order asked; `asked` what the last text asked for, or which text it follows
    (`after_emergency`, `after_distress`, which ask nothing); `language` a folder under
    service/rungwise/reply/languages; `support` the support asked for; `our_texts` what was sent to
    this client lately, word for word; `usual_pain` the body part where the trainer recorded a usual
    pain; `today` the client's date; `second_reader` whether statistics may
    doubt a text where the lists read no sign.
    """

    target_s: int = 20
    sided: bool = False
    leads: tuple[Side, ...] = ()
    asked: Asked = "result"
    language: str = "en"
    support: Support | None = None
    our_texts: tuple[str, ...] = ()
    usual_pain: str | None = None
    today: date | None = None
    second_reader: bool = True


@dataclass(frozen=True, slots=True)
class Hold:
    seconds: float
    side: Literal["left", "right", "both"] | None = None


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of the original text: start and end as Python string indices."""

    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Reading:
    """One reply, read. See docs/reading-replies.md for what each field means.

    `question` is true beside any kind when the client asks something too; `later` when they say
    they will do it later; `to_target` when they say in words that they held all of it; `about_task`
    when what they ask is how to stand or hold today.

    `asks` are wishes, with `wish_time` ("HH:MM"), `wish_from` and `wish_until` (ISO dates: the
    first day without texts, and the day they come again) and `wish_days`, where told. `machine` is
    what a phone or a program added, `own_words` the client's own without it. `answer` is to the
    open question; None where none is open, and for a bare reaction. `topic` is the fixed answer
    that fits a question. `emergency_doubt`: perhaps an emergency, so to be asked. `near_fall`: in
    their own words nearly a fall (`fall` is then `unsure`). `old`: a sign of over 31 days back or
    of no telling when. `back_reference`: a fall told again. `of_other`: a sign of somebody else.
    `usual`: how the pain at the recorded usual place is told. `days_ago`: the result is of an
    earlier day, or the fall of whose day was asked, 0 for today. `two_people`: results of more than
    one person. `unsure_number`: a hold's number may have been another ("2 0", "ate seconds"), so is
    worth asking about where it matters.
    """

    kind: Kind
    holds: tuple[Hold, ...] = ()
    steadiness: Steadiness | None = None
    steadiness_by_side: Mapping[str, Steadiness] = field(default_factory=dict)
    fall: Answer = "no"
    pain: Answer = "no"
    dizzy: Answer = "no"
    emergency: bool = False
    body_part: str | None = None
    confidence: float = 1.0
    because: Mapping[str, tuple[Span, ...]] = field(default_factory=dict)
    yes_no: Literal["yes", "no"] | None = None
    pain_score: int | None = None
    correction: bool = False
    same_as_before: bool = False
    effort: Literal["too_hard", "too_easy"] | None = None
    question: bool = False
    later: bool = False
    to_target: bool = False
    about_task: bool = False
    asks: tuple[Ask, ...] = ()
    wish_time: str | None = None
    wish_from: str | None = None
    wish_until: str | None = None
    wish_days: tuple[Weekday, ...] = ()
    news: News | None = None
    machine: MachineMade | None = None
    own_words: str = ""
    unsafe: bool = False
    answer: OpenAnswer | None = None
    topic: Topic | None = None
    doubted_by: Literal["lists", "statistics"] | None = None
    distress_doubt: bool = False
    emergency_doubt: bool = False
    severe: bool = False
    head_struck: bool = False
    near_fall: bool = False
    old: bool = False
    back_reference: bool = False
    of_other: bool = False
    usual: Literal["same", "unsaid", "worse"] | None = None
    support: Literal["more", "grabbed"] | None = None
    done: bool = False
    side: Literal["left", "right", "both"] | None = None
    to_both: bool = False
    days_ago: int | None = None
    two_people: bool = False
    unsure_number: bool = False
