"""What the tests of the word lists share."""

from collections.abc import Callable
from typing import Any

import pytest

from rungwise.reply import Context, read
from rungwise.reply import kinds as reply_kinds
from rungwise.reply.lexicon import lexicon
from rungwise.reply.lines import as_json
from rungwise.reply.units import parse

Wanted = dict[str, Any]
CheckList = Callable[..., None]


@pytest.fixture
def check_list() -> CheckList:
    """Asserts that a text uses a word list, and what is read from it."""

    def check(language: str, tag: str, text: str, wanted: Wanted, asked: str = "result") -> None:
        parsed = parse(text, lexicon(language))
        seen = {unit.word: sorted(unit.tags) for unit in parsed.units}
        if tag not in parsed.seen | reply_kinds.opening(parsed).tags:
            pytest.fail(f"{tag} is not used in {text!r}: {seen}")
        context = Context(sided=True, asked=asked, language=language)  # type: ignore[arg-type]
        got = as_json(text, read(text, context, second=False))
        held = [hold["seconds"] for hold in got["holds"]]
        got["held"] = held
        assert {name: got[name] for name in wanted} == wanted, seen

    return check
