"""Which words near a mention undo it, and from how far: told in tags, without any language.

`neg.no scope.through*12 @fall.noun` is a unit with the tag neg.no, twelve with scope.through, and
the mention. `word=tag+tag` gives a unit its word.
"""

from dataclasses import replace

import pytest

from rungwise.reply import scope, supposing
from rungwise.reply.events import Event
from rungwise.reply.lexicon import lexicon
from rungwise.reply.plain import plain
from rungwise.reply.tokens import Tokens
from rungwise.reply.units import Parse, Unit

OPENS = frozenset({"my"})


def made(sequence: str) -> tuple[Parse, Event]:
    """A parse of units with these tags, and the mention in it."""
    units: list[Unit] = []
    event = None
    for each in sequence.split():
        given, _, many = each.partition("*")
        for _ in range(int(many or 1)):
            mention = given.startswith("@")
            word, _, tags = given.removeprefix("@").rpartition("=")
            names = frozenset(tags.split("+")) - {"x"}
            place = len(units)
            if mention:
                family, _, form = tags.split("+")[0].partition(".")
                event = Event(family, form, place, place)
            units.append(Unit(names, {}, place, place + 1, word or f"w{place}"))
    assert event is not None
    text = " ".join("x" for _ in units)
    words = replace(lexicon("en"), opens=OPENS)
    seen = frozenset(tag for unit in units for tag in unit.tags)
    places = range(0, 2 * len(units), 2)
    tokens = Tokens([unit.word for unit in units], [*places], [place + 1 for place in places])
    return Parse(plain(text), tokens, units, words, seen, 0), event


@pytest.mark.parametrize(
    ("sequence", "answer"),
    [
        ("neg.strong @fall.verb", "no"),
        ("neg.no @fall.verb", None),
        ("neg.no @fall.noun", "no"),
        ("neg.no @fall.phrase", None),
        ("neg.no @pain.phrase", "no"),
        ("neg.slight @pain.noun", None),
        ("neg.strong neg.slight @pain.noun", None),
        ("neg.doubt @dizzy.noun", "unsure"),
        # "No, ..." answers; it denies nothing.
        ("neg.no comma @fall.noun", None),
        ("neg.strong stop @fall.noun", None),
        # How far, and past what.
        ("neg.no scope.through*12 @fall.noun", "no"),
        ("neg.no scope.through*13 @fall.noun", None),
        ("neg.no self.my @fall.noun", "no"),
        ("neg.no digits @fall.noun", None),
        ("neg.no scope.but @fall.noun", None),
        ("neg.no unknown @fall.noun", "unsure"),
        ("neg.no unknown unknown @fall.noun", None),
        # Lists.
        ("neg.no pain.noun or=scope.or @dizzy.noun", "no"),
        ("neg.no pain.noun @dizzy.noun", "no"),
        ("neg.no pain.noun scope.through @dizzy.noun", None),
        ("neg.no pain.noun comma @dizzy.noun", "no"),
        ("neg.no pain.noun comma @dizzy.noun stop", "no"),
        ("neg.no pain.noun comma @dizzy.noun old.long", None),
        ("neg.no pain.noun or=scope.or @dizzy.noun old.long", "no"),
        ("steady.denied @fall.noun", None),
        ("steady.denied or=scope.or @fall.noun", "no"),
        ("steady.denied comma @fall.noun", None),
        ("steady.denied my=body or=scope.or @pain.noun", None),
        # Parts of the body, and what is said of one's own.
        ("neg.no body @pain.noun", "no"),
        ("neg.no my=body @pain.noun", None),
        ("neg.strong my=body @pain.noun", "no"),
        ("neg.no my=self.my body @pain.noun", "no"),
        ("my=body neg.no body @pain.noun", "no"),
        ("neg.no scope.through my=body @pain.noun", None),
        ("neg.no body comma @pain.noun", None),
        ("neg.no body or=scope.or @pain.noun", "no"),
        # After it.
        ("@pain.noun neg.after", "no"),
        ("@pain.noun :=mark neg.after", "no"),
        ("@pain.noun ;=mark neg.after", None),
        ("@pain.noun scope.through scope.through neg.after", "no"),
        ("@pain.noun scope.through+x2 neg.after", None),
        ("@pain.noun neg.after stop", "no"),
        ("@pain.noun neg.after digits", None),
        ("@pain.noun neg.after fall.noun", None),
        ("@pain.noun neg.after+neg.count fall.noun", "no"),
        ("@pain.noun neg.after+neg.count digits", None),
        # Taken back.
        ("neg.no @fall.noun scope.undone", None),
        ("neg.no @fall.noun scope.close", "unsure"),
        ("neg.no @fall.noun stop scope.undone", "no"),
        ("neg.no @fall.noun x*12 scope.undone", None),
        ("neg.no @fall.noun x*13 scope.undone", "no"),
        ("neg.no @fall.noun x scope.close", "unsure"),
        ("neg.no+scope.undone @fall.noun x", "no"),
        ("neg.no @fall.noun+scope.close x", "no"),
        ("neg.strong @dizzy.noun scope.undone fall.verb", "no"),
        ("neg.strong @dizzy.noun scope.undone scope.through fall.verb", "no"),
        ("neg.strong @fall.noun scope.undone fall.verb", None),
        ("neg.strong @fall.noun scope.undone digits", None),
    ],
)
def test_what_denies_a_mention(sequence: str, answer: str | None) -> None:
    assert scope.denied(*made(sequence)) == answer


def test_what_follows_denies_only_where_it_may() -> None:
    parse, event = made("@pain.noun neg.after")
    assert scope.denied(parse, event, after=False) is None


@pytest.mark.parametrize(
    ("sequence", "answer"),
    [
        ("other.person @fall.verb", "no"),
        ("other.kin @fall.verb", "unsure"),
        ("other.thing @fall.verb", "no"),
        ("other.person scope.through*12 @fall.verb", "no"),
        ("other.person scope.through*13 @fall.verb", None),
        ("other.person stop @fall.verb", None),
        ("other.person self.i @fall.verb", None),
        ("other.person my=body @fall.verb", None),
        ("other.person body @fall.verb", "no"),
        ("other.person unknown @fall.verb", "no"),
        ("other.person x unknown @fall.verb", "unsure"),
        ("other.person digits @fall.verb", "unsure"),
        # Past a pause it is only perhaps theirs, and not where "I" stood before.
        ("other.person comma @fall.verb", "unsure"),
        ("self.i other.person comma @fall.verb", None),
        ("self.i stop other.person comma @fall.verb", "unsure"),
        ("self.i x*12 other.person comma @fall.verb", None),
        ("self.i x*13 other.person comma @fall.verb", "unsure"),
        ("other.person self.i comma @fall.verb", None),
        ("before.person other.person comma @fall.verb", None),
        ("other.animal comma @fall.verb", None),
        ("other.thing comma @fall.verb", None),
        # A name that no list knows.
        ("unknown @fall.verb", "unsure"),
        ("unknown @fall.noun", None),
        ("unknown @pain.verb", None),
        ("unknown unknown @fall.verb", None),
        ("polite.word unknown @fall.verb", None),
        ("before.person unknown @fall.verb", None),
        ("scope.through unknown @fall.verb", "unsure"),
        ("scope.through unknown @fall.verb before.person", "unsure"),
        ("before.person scope.through unknown @fall.verb", None),
        ("x before.person scope.through unknown @fall.verb", None),
        ("before.person digits unknown @fall.verb", "unsure"),
        ("before.person x scope.through unknown @fall.verb", "unsure"),
    ],
)
def test_whose_a_mention_is(sequence: str, answer: str | None) -> None:
    assert scope.others(*made(sequence), things=True) == answer


def test_a_thing_has_no_pain() -> None:
    assert scope.others(*made("other.thing @pain.noun"), things=False) is None
    assert scope.others(*made("other.person @pain.noun"), things=False) == "no"


@pytest.mark.parametrize(
    ("sequence", "answer"),
    [
        ("carer.phrase @fall.verb", True),
        ("carer.this carer.relation @fall.verb", True),
        ("carer.relation carer.this @fall.verb", False),
        ("carer.relation @fall.verb", False),
        ("carer.this @fall.verb", False),
        ("carer.this x*4 carer.relation @fall.verb", True),
        ("carer.this x*5 carer.relation @fall.verb", False),
        *(
            (f"carer.this {stops} carer.relation @fall.verb", False)
            for stops in ("stop", "self.my", "old.recent", "before.person")
        ),
        ("carer.relation carer.this x carer.relation @fall.verb", True),
        ("carer.this stop carer.relation x carer.this carer.relation @fall.verb", True),
    ],
)
def test_whether_a_carer_writes(sequence: str, answer: bool) -> None:
    assert scope.for_another(made(sequence)[0]) is answer


@pytest.mark.parametrize(
    ("sequence", "answer"),
    [
        ("@fall.third", "unsure"),
        ("other.person x*4 @fall.third", "no"),
        ("other.person x*5 @fall.third", "unsure"),
        ("@fall.third x*4 other.thing", "no"),
        ("@fall.third x*5 other.thing", "unsure"),
        ("neg.strong @fall.third", "no"),
        ("carer.phrase @fall.third", "yes"),
    ],
)
def test_a_verb_in_the_third_person(sequence: str, answer: str) -> None:
    assert scope.third_person(*made(sequence)) == answer


@pytest.mark.parametrize(
    ("sequence", "answer"),
    [
        ("@fall.verb old.long", True),
        ("old.long @fall.verb", True),
        ("old.long x*13 @fall.verb", True),
        ("old.long x*14 @fall.verb", False),
        ("@fall.verb x*13 old.long", True),
        ("@fall.verb x*14 old.long", False),
        ("@fall.verb stop old.long", False),
        ("old.long stop @fall.verb", False),
        ("@fall.verb pain.noun old.long", False),
        ("@fall.verb old.long pain.noun", True),
        # Brought up to date, or not.
        ("@fall.verb old.long old.recent", False),
        ("old.recent @fall.verb old.long", False),
        ("@fall.verb+old.recent old.long", True),
        ("@fall.verb old.long old.recent neg.after", True),
        ("@fall.verb old.long x old.recent x neg.after", False),
        ("old.recent neg.after @fall.verb old.long", True),
        ("neg.strong old.recent @fall.verb old.long", True),
        ("old.recent @fall.verb old.long+neg.strong", False),
        # The hold of today after it.
        ("@pain.noun old.long comma digits old.recent", True),
        ("@pain.noun old.long comma x digits old.recent", False),
        ("@pain.noun old.long comma", True),
        ("@pain.noun comma digits old.recent old.long", False),
        # Weeks and years.
        ("5=digits old.weeks @fall.verb", True),
        ("4=digits old.weeks @fall.verb", False),
        ("5=digits x old.weeks @fall.verb", False),
        ("old.weeks @fall.verb", False),
        ("000005=digits old.weeks @fall.verb", True),
        ("0000005=digits old.weeks @fall.verb", False),
        ("1920=digits @fall.verb", True),
        ("1919=digits @fall.verb", False),
        ("2100=digits @fall.verb", True),
        ("2101=digits @fall.verb", False),
        ("02019=digits @fall.verb", False),
        ("2019=unknown @fall.verb digits", False),
    ],
)
def test_whether_it_was_long_ago(sequence: str, answer: bool) -> None:
    assert scope.long_ago(*made(sequence)) is answer


@pytest.mark.parametrize(
    ("sequence", "answer"),
    [
        ("near.before @fall.verb", True),
        ("fall.near @fall.verb", True),
        ("near.before scope.through*4 @fall.verb", True),
        ("near.before scope.through*5 @fall.verb", False),
        ("near.before self.i self.my @fall.verb", True),
        ("near.before digits @fall.verb", False),
        ("@fall.verb near.before", False),
    ],
)
def test_whether_it_nearly_happened(sequence: str, answer: bool) -> None:
    assert scope.nearly(*made(sequence)) is answer


@pytest.mark.parametrize(
    ("sequence", "within", "answer"),
    [
        ("near.felt @fall.verb", 6, True),
        ("near.felt x*5 @fall.verb", 6, True),
        ("near.felt x*6 @fall.verb", 6, False),
        ("near.felt x @fall.verb", 2, True),
        ("near.felt x*2 @fall.verb", 2, False),
        ("near.felt stop @fall.verb", 6, False),
    ],
)
def test_whether_it_was_felt_coming(sequence: str, within: int, answer: bool) -> None:
    parse, event = made(sequence)
    assert scope.felt_like(parse, event, within) is answer
    if within == 6:
        assert scope.felt_like(parse, event) is answer


@pytest.mark.parametrize(
    ("sequence", "answer"),
    [
        ("@fall.verb near.caught", True),
        ("@fall.verb x*12 near.caught", True),
        ("@fall.verb x*13 near.caught", False),
        ("@fall.verb stop near.caught", False),
        ("@fall.verb+near.caught x", False),
        ("near.caught @fall.verb", False),
        ("@fall.verb", False),
    ],
)
def test_whether_they_caught_themselves(sequence: str, answer: bool) -> None:
    assert scope.caught(*made(sequence)) is answer


@pytest.mark.parametrize(
    ("sequence", "answer"),
    [
        ("suppose.if @fall.verb", True),
        ("suppose.if scope.through*6 @fall.verb", True),
        ("suppose.if scope.through*7 @fall.verb", False),
        ("suppose.if comma @fall.verb", False),
        ("suppose.if stop @fall.verb", False),
        ("suppose.if digits @fall.verb", False),
        ("suppose.any @fall.verb", False),
        ("suppose.any @fall.noun", True),
        ("suppose.any @fall.phrase", True),
        ("suppose.fall @fall.noun", True),
        ("suppose.fall @pain.noun", False),
        ("suppose.fall @fall.verb", False),
        ("suppose.fall unknown @fall.noun", False),
        ("suppose.if unknown @fall.noun", True),
        ("suppose.if unknown unknown @fall.noun", False),
        ("suppose.if unknown @fall.verb", False),
        ("suppose.if fall.noun scope.or @pain.noun", True),
        ("suppose.if+fall.noun scope.or @pain.noun", True),
        ("suppose.if digits scope.or @pain.noun", False),
        ("suppose.if fall.noun @pain.noun", True),
        ("suppose.if near.before @fall.verb", True),
        # "Si" is an "if" where it does not open the sentence, or where that asks.
        ("suppose.si @dizzy.verb", False),
        ("suppose.si @dizzy.verb stop", False),
        ("suppose.si @dizzy.verb stop+asks", True),
        ("x suppose.si @dizzy.verb", True),
        ("polite.word comma suppose.si @dizzy.verb", False),
        ("x suppose.si @fall.verb", False),
        ("x suppose.si @fall.noun", True),
    ],
)
def test_whether_it_is_only_supposed(sequence: str, answer: bool) -> None:
    assert supposing.supposed(*made(sequence)) is answer


@pytest.mark.parametrize(
    ("sequence", "answer"),
    [
        ("@fall.noun", False),
        ("question.word @fall.noun", True),
        ("question.word digits @fall.noun", False),
        ("question.word digits @fall.noun stop+asks", True),
        ("polite.word question.word digits @fall.noun", False),
        ("polite.word*3 question.word @fall.noun", True),
        ("polite.word*4 question.word @fall.noun", False),
        ("x question.word @fall.noun", False),
        ("stop question.word @fall.noun", True),
        ("@fall.noun stop+asks", True),
        ("@fall.noun stop x stop+asks", False),
        ("@fall.noun x*12 stop+asks", True),
        ("@fall.noun x*13 stop+asks", False),
        ("@fall.noun+stop+asks x", False),
        ("@fall.noun question.word stop+asks", False),
    ],
)
def test_whether_it_is_asked(sequence: str, answer: bool) -> None:
    assert supposing.asked(*made(sequence)) is answer
