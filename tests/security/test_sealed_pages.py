"""Pages of a sealed practice are the same, letter by letter, as of one that is not."""

import re
from pathlib import Path

import pytest
from sealed_world import seal_world
from web_world import World, make_world

from rungwise.store.sealing.crypto import Key

SAID = {
    "ada": ["Left 20 right 18 steady", "my knee hurts a bit"],
    "bo": ["what about my shoes?", "I fell over in the kitchen"],
    "cy": ["gibberish zork", "zork again"],
}
ADDRESSES = (
    "/",
    "/?q=ada",
    "/?q=KITCHEN",
    "/?q=zork&page=1",
    "/?q=nothing-of-this",
    "/?urgency=urgent&q=fell",
    "/?handled=true&q=bo",
    "/clients",
    *(f"/clients?sort={sort}" for sort in ("name", "today", "days", "rung")),
    *(f"/clients?sort={sort}&turned=true" for sort in ("name", "today", "days", "rung")),
    "/clients?q=AD",
    "/clients?q=specimen",
    "/clients?q=5550202",
    "/clients?q=550",
    "/clients?q=%25",
    "/clients?today=resting&q=bo",
    "/clients/1",
    "/clients/2",
    "/phone?client=1",
    "/account",
)


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> tuple[World, World]:
    """The same practice twice, sealed and not, with the same texts sent and received."""
    clear = make_world(tmp_path_factory.mktemp("clear"))
    sealed = make_world(tmp_path_factory.mktemp("sealed"))
    sealed = seal_world(sealed, Key("a" * 42 + "A"))
    for world in (clear, sealed):
        for who, texts in SAID.items():
            for said in texts:
                world.reply(who, said)
                world.pass_time(minutes=7)
    return clear, sealed


def plain(page: str) -> str:
    return re.sub(r'value="[\w-]{20,}"', 'value=""', page)


@pytest.mark.parametrize("address", ADDRESSES)
def test_a_page_is_the_same_with_the_database_sealed(
    pair: tuple[World, World], address: str
) -> None:
    shown = [plain(world.signed_in("lena").page(address)) for world in pair]
    assert shown[0] == shown[1]


def test_what_the_pages_were_compared_on_is_there(pair: tuple[World, World]) -> None:
    page = pair[1].signed_in("lena").page("/?q=kitchen")
    assert "Bo Specimen" in page
    assert "Ada Sample" not in page
    assert "Cy Instance" in pair[1].signed_in("lena").page("/clients?q=5550202")


def test_the_sealed_practices_file_names_nobody(pair: tuple[World, World]) -> None:
    held = {}
    for name, world in zip(("clear", "sealed"), pair, strict=True):
        file = world.store.engine.url.database
        held[name] = b"".join(Path(f"{file}{end}").read_bytes() for end in ("", "-wal"))
    for words in (
        "Ada",
        "Specimen",
        "+1202555",
        "kitchen",
        "knee hurts",
        "zork",
        "Tess",
        "example",
    ):
        assert words.encode() in held["clear"], words
        assert words.encode() not in held["sealed"], words
