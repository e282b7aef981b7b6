"""Numbers and words as telephones bring them: dictation, slips of the thumb, minutes, others'.

What each text means is common practice, no source; that two figures after the dot of minutes are
seconds, and ' and \" minutes and seconds, is how stopwatches and ISO 80000-3's primes are written.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rungwise.reply import Context, Reading, read
from rungwise.reply.dictation import undictated
from rungwise.reply.lexicon import lexicon
from rungwise.reply.plain import plain
from rungwise.reply.tokens import tokenise


def reading(text: str, language: str = "en") -> Reading:
    return read(text, Context(sided=True, language=language))


def held(text: str, language: str = "en") -> list[float]:
    return [hold.seconds for hold in reading(text, language).holds]


@pytest.mark.parametrize(
    ("text", "seconds", "steadiness"),
    [
        ("twenty seconds comma steady full stop", [20], "steady"),
        ("15 wobbly period", [15], "wobbly"),
        ("20 new line steady", [20], "steady"),
        ("20 s t e a d y", [20], "steady"),
        ("12 w o b b l y", [12], "wobbly"),
        ("15secwobbly", [15], "wobbly"),
        ("18w", [18], "wobbly"),
        ("20 secs w", [20], "wobbly"),
        ("20 seconds study", [20], "steady"),
        ("20 and whoa billy", [20], None),
        ("20 whoa billy", [20], "wobbly"),
    ],
)
def test_words_spoken_or_run_together(text: str, seconds: list[float], steadiness: str) -> None:
    got = reading(text)
    assert ([hold.seconds for hold in got.holds], got.steadiness) == (seconds, steadiness)
    assert got.unsure_number is False


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        *(("2 0 steady", 20), ("1 5", 15), ("lO secs", 10), ("ll seconds", 11), ("I5 wobbly", 15)),
        *(("q0 secs", 10), ("2l secs", 21), ("ate seconds", 8), ("I managed for seconds", 4)),
        *(("to seconds only", 2), ("tin seconds steady", 10), ("nein seconds", 9)),
    ],
)
def test_a_number_put_together_is_read_and_worth_asking_about(text: str, seconds: float) -> None:
    assert held(text) == [seconds]
    assert reading(text).unsure_number is True


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        *(("9 8", [9, 8]), ("left 9 right 8", [9, 8]), ("L5 R6", [5, 6]), ("l20 r15", [20, 15])),
        *(("3 1 2 4", [3, 1, 2, 4]), ("20", [20]), ("I held it for 20 seconds", [20])),
        *(("I like to study", []), ("a b c d 20", [20]), ("my period was late", [])),
        *(("you asked me to wait a second", []), ("to second that", [])),
    ],
)
def test_what_is_plain_stays_as_it_is(text: str, seconds: list[float]) -> None:
    assert held(text) == seconds
    assert reading(text).unsure_number is False


@pytest.mark.parametrize(
    ("text", "language", "seconds"),
    [
        *(("1'10\"", "en", 70), ("1’10” steady", "en", 70), ("1'10\"", "es", 70)),
        *(("1.30 min", "en", 90), ("1.5 min", "en", 90), ("1,30 min", "es", 90)),
        *(("½ a minute", "en", 30), ("½ minuto", "es", 30), ("12½", "en", 12.5)),
        *(("a min and a quarter", "en", 75), ("1 min and a quarter", "en", 75)),
        *(("third of a minute", "en", 20), ("¾ of a minute", "en", 45), ("¼ minute", "en", 15)),
        *(("00:00:20", "en", 20), ("0.20", "en", 20), (".20 steady", "en", 20)),
        *(("a minute minus 5 secs", "en", 55), ("un minuto menos diez", "es", 50)),
        *(("19 point 5", "en", 19.5), ("half a dozen seconds", "en", 6)),
        *(("un minuto y cuarto", "es", 75), ("1 minute and a half", "en", 90)),
    ],
)
def test_minutes_and_parts(text: str, language: str, seconds: float) -> None:
    assert held(text, language) == [seconds]


@pytest.mark.parametrize(
    ("text", "language", "seconds"),
    [
        ("5 short of 30 so 25", "en", [25]),
        ("three short of the twenty so 17", "en", [17]),
        ("quise llegar a 20 pero hice 15", "es", [15]),
        ("20 for me, 35 for him indoors", "en", [20]),
        ("15 for the nurse", "en", [15]),
        ("40, older woman next door does 50", "en", [40]),
        ("eggs 12, spuds 5lb, 3 onions", "en", []),
        ("bus leaves at 10 30", "en", []),
        ("weighed 11 stone 4, held 19", "en", [19]),
        ("I am 5'4\" and did 20", "en", [20]),
        ("swayed a lot 11 secs", "en", [11]),
        ("20\n*25", "es", [25]),
        ("21\n12*", "en", [12]),
        ("41 wobbly\nsorry 14", "en", [14]),
        ("81 steady. oops 18", "en", [18]),
        ("41 con tambaleo\ndigo 14", "es", [14]),
        ("left 20 steady, sorry right 12", "en", [20, 12]),
        ("15 wobbly, 20 steady", "en", [15, 20]),
        ("22 today, my best is 30", "en", [22]),
        ("mi marido hizo 40, yo 15 firme", "es", [15]),
        ("<script>alert(1)</script>", "en", []),
        ('{"seconds": 20}', "en", [20]),
        *(("20-20-18", "en", [20, 20, 18]), ("20/20/18", "es", [20, 20, 18])),
        *(("10-12-2025", "en", []), ("12 -> 18", "en", [18]), ("de 10 a 15", "es", [10])),
        *(("counted 20 but fast so prob 15", "en", [15]), ("between 15 and 17 say 16", "en", [16])),
        ("One Mississippi two Mississippi all the way to 20", "en", [20]),
        ("the oven clock runs 3 minutes fast but i did 20", "en", [20]),
        *(("held on 12 then wobbled", "en", [12]), ("20, no 25", "es", [20])),
        *(("12 no, 21 firme, me equivoqué", "es", [21]), ("Ring me on 555 0199 after 6", "en", [])),
        ("a couple of seconds is all I could do", "en", []),
    ],
)
def test_other_numbers_are_no_holds(text: str, language: str, seconds: list[float]) -> None:
    assert held(text, language) == seconds


@pytest.mark.parametrize(
    ("text", "language", "sided", "seconds"),
    [
        *(("l5 steady", "en", False, [15]), ("I5 con tambaleo", "es", False, [15])),
        *(("l5 steady", "en", True, [5]), ("l5 r6", "en", False, [5, 6])),
        ("kinse i me tambalee", "es", False, [15]),
    ],
)
def test_a_letter_is_a_one_where_no_side_was_asked(
    text: str, language: str, sided: bool, seconds: list[float]
) -> None:
    context = Context(language=language, sided=sided)
    assert [hold.seconds for hold in read(text, context).holds] == seconds


@pytest.mark.parametrize(
    ("text", "sides"),
    [
        ("left 20 right 15. other way round sorry", {"right": 20, "left": 15}),
        ("L/R 20/15 steady", {"left": 20, "right": 15}),
        ("R/L 12/18", {"right": 12, "left": 18}),
        ("L 20 ditto right", {"left": 20, "right": 20}),
        ("the left did 20 and so did the right", {"left": 20, "right": 20}),
    ],
)
def test_both_sides_in_an_order(text: str, sides: dict[str, float]) -> None:
    holds = read(text, Context(sided=True)).holds
    assert {hold.side: hold.seconds for hold in holds} == sides


@pytest.mark.parametrize(
    ("text", "language", "steadiness"),
    [
        ("20! thats my best yet", "en", None),
        ("Wasn't what you'd call steady. 13", "en", "wobbly"),
        ("13, de firme nada", "es", "wobbly"),
        *(("20 wobbly\n*steady", "en", "steady"), ("20 tambaleo\ndigo firme", "es", "steady")),
        *(("20 steady sorry meant wobbly", "en", "wobbly"), ("20 wobbly, sorry", "en", "wobbly")),
        ("20 coma firme punto", "es", "steady"),
        ("doce coma cinco segundos", "es", None),
    ],
)
def test_steadiness_only_where_it_is_said(text: str, language: str, steadiness: str) -> None:
    assert reading(text, language).steadiness == steadiness


@pytest.mark.parametrize(
    ("text", "language", "sign"),
    [
        ("Clutched the bannister just in time", "en", "fall"),
        ("Wincing every time I take a stair", "en", "pain"),
        ("been on this floor since 6 this morning", "en", "emergency"),
        ("9 inestable, se me movía el cuarto", "es", "dizzy"),
    ],
)
def test_signs_that_neither_reader_heard_at_first_sight(
    text: str, language: str, sign: str
) -> None:
    assert getattr(reading(text, language), sign) in ("yes", "unsure", True)


def test_a_question_mark_spoken_out_asks() -> None:
    assert reading("do I need to hold on question mark").kind == "question"


@given(
    st.lists(st.sampled_from(["2", "0", "l", "ll", "comma", "to", "secs", "w", "20", "."])),
    st.sampled_from(["en", "es"]),
)
def test_tokens_keep_their_order_and_places(words: list[str], language: str) -> None:
    before = tokenise(plain(" ".join(words)).text)
    after, unclear = undictated(before, lexicon(language))
    assert len(after.words) == len(after.starts) == len(after.ends)
    assert after.starts == sorted(after.starts)
    assert set(after.starts) <= set(before.starts)
    assert set(after.ends) <= set(before.ends)
    assert all(after.words[place].isdecimal() for place in unclear)
