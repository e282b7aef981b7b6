"""A million mutated replies: `nice python tests/reply/fuzz_reader.py [--count N] [--seed N]`.

Takes corpus replies, cuts, joins, repeats, misspells and litters them, reads each, and stops at
the first that raises, that gives a reading out of form, or that takes far too long.
"""

import argparse
import json
import random
import sys
import time
from datetime import date
from pathlib import Path
from typing import get_args

from rungwise.reply import Asked, Context, Reading, read
from rungwise.reply.lexicon import lexicon

CORPUS = Path(__file__).parent / "corpus"
LITTER = [
    "\x00",
    "\u200b",
    "\u202e",
    "\ud800",
    "\udfff",
    "\ufe0f",
    "👍🏽",
    "🤕",
    "½",
    "٣",
    "２",
    "\n",
    "\t",
    "'",
    "’",
    '"',
    "<b>",
    "&amp;",
    "/",
    ":",
    "-",
    "...",
    ",",
    ".",
    "?",
    "!",
    "(",
    ")",
    "9" * 30,
    "1:15",
    "10/12",
    "no ",
    "not ",
    "and ",
    "fell ",
    "left ",
    "right ",
    "stop",
    "Привет",
    "跌倒",
    "é",
]
ASKED = get_args(Asked)
OURS = (
    "Feet together, touching. Hold 20 seconds. Text the seconds, steady or wobbly.",
    "¿Se ha caído? Conteste SÍ o NO. Siéntese y no practique.",
)
# What a phone or a mail program may put around a text.
WRAPPED = (
    "Liked “%s”",
    "%s\nSent from my phone",
    "> %s",
    OURS[0] + " %s",
    "%s\n--\nJean\n555",
    "%s",
)
SLOW_S = 0.25


def texts() -> list[str]:
    return [
        json.loads(line)["text"]
        for path in sorted(CORPUS.glob("*.jsonl"))
        for line in path.read_text(encoding="utf-8").splitlines()
    ]


def mutated(chance: random.Random, corpus: list[str]) -> str:
    text = chance.choice(corpus)
    for _ in range(chance.randint(1, 5)):
        place = chance.randint(0, len(text))
        kind = chance.randrange(7)
        if kind == 0:
            text = text[:place] + chance.choice(LITTER) + text[place:]
        elif kind == 1:
            text = text[:place] + text[place + chance.randint(1, 6) :]
        elif kind == 2:
            text = text[:place] + " " + chance.choice(corpus)
        elif kind == 3:
            text = chance.choice(corpus)[:40] + text[place:]
        elif kind == 4:
            text = text.upper() if chance.random() < 0.5 else text.replace(" ", "")
        elif kind == 5:
            text = text[:place] + text[place : place + 4] * chance.randint(2, 8) + text[place:]
        else:
            words = text.split(" ")
            chance.shuffle(words)
            text = " ".join(words)
    return text


def out_of_form(text: str, reading: Reading) -> bool:
    spans = [span for found in reading.because.values() for span in found]
    return (
        not 0.0 <= reading.confidence <= 1.0
        or any(not 0 <= span.start < span.end <= len(text) for span in spans)
        or any(hold.seconds < 0 for hold in reading.holds)
    )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    chance = random.Random(options.seed)
    corpus = texts()
    lexicon("en"), lexicon("es")
    start = time.perf_counter()
    slowest, slowest_text = 0.0, ""
    for number in range(options.count):
        text = chance.choice(WRAPPED).replace("%s", mutated(chance, corpus))
        context = Context(
            sided=chance.random() < 0.5,
            asked=chance.choice(ASKED),
            language=chance.choice(["en", "en", "es"]),
            support=chance.choice([None, "two_hands", "one_hand", "fingertips", "hover"]),
            our_texts=chance.choice([(), OURS]),
            usual_pain=chance.choice([None, "knee"]),
            today=chance.choice([None, date(2026, 1, 5), date(2028, 2, 29), date(2026, 12, 31)]),
        )
        before = time.perf_counter()
        try:
            reading = read(text, context)
        except Exception:
            print(f"number {number}, seed {options.seed}: {context} {text!r}", file=sys.stderr)
            raise
        took = time.perf_counter() - before
        if took > slowest:
            slowest, slowest_text = took, text
        if out_of_form(text, reading):
            print(f"out of form: {text!r} gave {reading}", file=sys.stderr)
            return 1
    total = time.perf_counter() - start
    print(f"{options.count} replies in {total:.0f} s, none raised or was out of form")
    print(f"slowest {slowest * 1000:.1f} ms, {len(slowest_text)} characters")
    return int(slowest > SLOW_S)


if __name__ == "__main__":
    sys.exit(main())
