"""Thousands of made-up texts are read as they were; a change that is meant rewrites the files."""

import pytest
from frozen_readings import CHUNK, DRAWN, file_of, line_of, texts

MADE = {language: list(texts(language)) for language in DRAWN}
CHUNKS = [
    (language, start) for language, made in MADE.items() for start in range(0, len(made), CHUNK)
]


@pytest.mark.parametrize(("language", "start"), CHUNKS)
def test_made_up_texts_are_read_as_they_were(language: str, start: int) -> None:
    kept = file_of(language).read_text(encoding="utf-8").splitlines()
    assert len(kept) == len(MADE[language])
    wanted, drawn = kept[start : start + CHUNK], MADE[language][start : start + CHUNK]
    now = [line_of(language, text, asked) for text, asked in drawn]
    changed = [(was, is_now) for was, is_now in zip(wanted, now, strict=True) if was != is_now]
    told = f"{len(changed)} are read otherwise. Meant? python tests/reply/frozen_readings.py"
    assert changed == [], told


@pytest.mark.parametrize("language", DRAWN)
def test_the_made_up_texts_meet_every_answer(language: str) -> None:
    kept = file_of(language).read_text(encoding="utf-8")
    for told in ("F+", "F?", "P+", "P?", "D+", "D?", "E+", "@", "| . ", " s\n", " w\n"):
        assert kept.count(told) > 15, told
