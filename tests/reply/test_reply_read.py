"""The reader's first promises: seconds, sides, steadiness, keywords, and falls never missed."""

import pytest

from service.reply import Context, read


@pytest.mark.parametrize(
    ("text", "holds"),
    [
        ("20 seconds steady", [(20, None)]),
        ("L12 R9", [(12, "left"), (9, "right")]),
        ("left leg 20 right a bit less", [(20, "left")]),
        ("twenty seconds on the left fifteen on the right", [(20, "left"), (15, "right")]),
        ("both 20", [(20, "both")]),
        ("10/12", [(10, None)]),
        ("10 out of 20", [(10, None)]),
        ("10-15 secs", [(10, None)]),
        ("minute and a half", [(90, None)]),
        ("1m20s", [(80, None)]),
        ("I had to stop at 10", [(10, None)]),
    ],
)
def test_holds(text: str, holds: list[tuple[float, str | None]]) -> None:
    reading = read(text, Context(sided=True))
    assert reading.kind == "result"
    assert [(h.seconds, h.side) for h in reading.holds] == holds


@pytest.mark.parametrize(
    ("text", "fall"),
    [
        ("fell in the kitchen", "yes"),
        ("feel over this morning", "yes"),
        ("HELP I fell", "yes"),
        ("nearly fell but caught myself", "unsure"),
        ("fell last year", "unsure"),
        ("no falls today", "no"),
        ("felt fine", "no"),
        ("I fell asleep", "no"),
        ("my husband fell", "no"),
    ],
)
def test_falls(text: str, fall: str) -> None:
    assert read(text, Context()).fall == fall


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("STOP", "opt_out"),
        (" stop. ", "opt_out"),
        ("please stop texting me", "opt_out"),
        ("START", "opt_in"),
        ("HELP", "help"),
        ("all good", "result"),
        ("👍", "result"),
        ("didn't do it today", "skipped"),
        ("can I use a chair?", "question"),
        ("", "other"),
    ],
)
def test_kinds(text: str, kind: str) -> None:
    assert read(text, Context()).kind == kind
