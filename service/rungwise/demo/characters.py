"""How the demo's people answer: a seeded good or bad day, put in their own words."""

from collections.abc import Sequence
from random import Random

from rungwise.ladder.rungs import Rung
from rungwise.ladder.stance import Side

# Every phrase a way someone might text; {n} seconds, {l} and {r} by side.
_SAME = {
    "short": ("{n} steady", "{n}", "{n}s steady", "Steady {n}", "{n} steady today"),
    "chatty": (
        "Managed {n} seconds, nice and steady",
        "Good morning! {n} and steady, kettle on now",
        "Did my {n} secs, felt steady",
    ),
    "spoken": ("{n} seconds and it was steady", "I did {n} seconds steady", "{n} seconds steady"),
    "spanish": ("{n} segundos estable", "{n} estable", "Hice {n} segundos, estable"),
}
_SAME_WOBBLY = {
    "short": ("{n} wobbly", "{n} bit wobbly", "wobbly {n}"),
    "chatty": ("Only {n} today and wobbly", "{n} seconds, wobbled a bit I'm afraid"),
    "spoken": ("{n} seconds but wobbly", "I held {n} seconds a bit wobbly"),
    "spanish": ("{n} tambaleante", "Solo {n} segundos, me tambaleo"),
}
_SIDED = {
    "short": ("L{l} R{r} steady", "l{l} r{r} steady", "L {l} R {r} steady"),
    "chatty": (
        "Left {l} right {r}, both steady",
        "{l} on the left and {r} on the right, steady as you like",
    ),
    "spoken": (
        "left {l} seconds right {r} seconds steady",
        "{l} seconds on the left and {r} seconds on the right steady",
    ),
    "spanish": ("Izquierda {l} derecha {r} estable", "izq {l} der {r} estable"),
}
_SIDED_WOBBLY = {
    "short": ("L{l} R{r} wobbly", "L{l} R{r} bit wobbly"),
    "chatty": ("Left {l} right {r}, wobbly on the left", "{l} left {r} right but wobbly today"),
    "spoken": ("left {l} right {r} wobbly", "{l} seconds left {r} seconds right wobbly"),
    "spanish": ("Izquierda {l} derecha {r} tambaleante", "izq {l} der {r} tambaleo"),
}
_SKIPPED = {
    "short": ("skipped", "Not today"),
    "chatty": ("Didn't do it today, had the grandchildren", "Skipped it, sorry, visitors"),
    "spoken": ("I did not do it today", "skipped today"),
    "spanish": ("Hoy no lo hice", "No practiqué hoy"),
}
_ANSWERS = {
    "seconds": ("20", "20"),
    "steadiness": ("steady", "estable"),
    "sides": ("both sides", "los dos lados"),
    "hurt": ("No, not hurt", "No"),
    "pain_score": ("3 right knee", "3 rodilla derecha"),
    "fall_yes_no": ("-", "-"),
    "fall_weekly": ("no", "no"),
    "fall_day": ("not sure", "no sé"),
    "pain_yes_no": ("no", "no"),
    "dizzy_yes_no": ("no", "no"),
}
SKIP_PERCENT = 6


def usual_reply(voice: str, form: int, rung: Rung, target_s: int, rng: Random) -> str:
    """What someone with this voice and form texts about this rung on an ordinary day."""
    if rng.randrange(100) < SKIP_PERCENT:
        return rng.choice(_SKIPPED[voice])
    good = rng.randrange(100) < form
    if not rung.sides:
        seconds = _seconds(good, target_s, rng)
        return rng.choice((_SAME if good else _SAME_WOBBLY)[voice]).format(n=seconds)
    held = {side: _seconds(good or rng.random() < 0.5, target_s, rng) for side in Side}
    phrase = rng.choice((_SIDED if good else _SIDED_WOBBLY)[voice])
    return phrase.format(l=held[Side.LEFT], r=held[Side.RIGHT])


def _seconds(good: bool, target_s: int, rng: Random) -> int:
    if good:
        return target_s + rng.choice((0, 0, 0, 0, 2, 5))
    return max(target_s - rng.randint(1, max(target_s // 3, 2)), 3)


def answer_to(asked: str, voice: str) -> str | None:
    """What they answer to a question of ours; None for no answer."""
    english, spanish = _ANSWERS.get(asked, ("-", "-"))
    said = spanish if voice == "spanish" else english
    return None if said == "-" else said


def first_name(name: str) -> str:
    return name.split(maxsplit=1)[0]


def pick_rung(rungs: Sequence[Rung], start: str) -> Rung:
    """The first rung for someone said to start at this landmark of the firm round."""
    firm = [rung for rung in rungs if rung.round == rungs[0].round]
    if start == "start":
        return firm[0]
    for rung in firm:
        if rung.landmark == start:
            return rung
    raise LookupError(f"no landmark {start!r} on this ladder")
