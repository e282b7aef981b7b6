"""The stream behind pages that renew themselves: what it says, to whom, and when it ends."""

from itertools import pairwise

import anyio
import pytest
from screened import UNHURT_FORM
from web_world import World

from rungwise.web.http import live
from rungwise.web.http.live import _events


def said(looks: list[str | None]) -> list[str]:
    """What the stream sends while the page's signature goes through `looks`."""
    left = iter(looks)

    async def collect() -> list[str]:
        return [line async for line in _events(lambda: next(left))]

    return anyio.run(collect)


def test_one_event_at_first_and_one_for_each_change_until_signed_out(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(live, "LOOK_EVERY_S", 0)
    assert said(["a", "a", "b", "b", "a", None]) == [
        "retry: 3000\n\n",
        "data: a\n\n",
        "data: b\n\n",
        "data: a\n\n",
    ]


def test_a_quiet_stream_says_now_and_then_that_it_is_there(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(live, "LOOK_EVERY_S", 0)
    monkeypatch.setattr(live, "SAY_SOMETHING_EVERY_S", -1)
    assert said(["a", "a", None])[-1] == ": still here\n\n"


def test_a_stream_ends_by_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(live, "LONGEST_S", 0)
    assert said([]) == ["retry: 3000\n\n"]


def test_another_trainers_client_has_no_stream(world: World) -> None:
    assert world.signed_in().get(f"/live?client={world.clients['cy']}").status_code == 404


def test_what_changes_the_signature(world: World) -> None:
    browser = world.signed_in()
    marks = [mark(browser.page("/"))]
    world.reply("cy", "I fell")
    assert mark(browser.page("/")) == marks[-1], "another trainer's client"
    world.reply("ada", "I fell")
    marks.append(mark(browser.page("/")))
    (alert,) = world.alerts("ada")
    browser.page(f"/alerts/{alert.id}")
    marks.append(mark(browser.page("/")))
    browser.post(f"/alerts/{alert.id}/handle", quick="Phoned", **UNHURT_FORM)
    marks.append(mark(browser.page("/")))
    browser.post(f"/alerts/{alert.id}/undo")
    marks.append(mark(browser.page("/")))
    assert all(one != other for one, other in pairwise(marks))


def mark(page: str) -> str:
    return page.split('data-signature="')[1].split('"', maxsplit=1)[0]
