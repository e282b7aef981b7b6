"""How thousands of made-up texts are read, kept in files: a change of the reader shows its effects.

The texts are words of every kind that matters to safety, thrown together; most make little sense,
as real ones now and then do. Nobody says that each is read well: the corpora do that. A change that
is meant rewrites the files, and whoever reviews it sees which texts are read otherwise. The lists
alone read them: the second reader changes with every text that the corpora gain.

    python tests/reply/frozen_readings.py
"""

from collections.abc import Iterator
from itertools import product
from pathlib import Path
from random import Random
from typing import Any

from rungwise.reply import Context, read
from rungwise.reply.lines import as_json

HERE = Path(__file__).parent
CHUNK = 250
DRAWN = {"en": 4000, "es": 2500}
# How far apart words still belong together: each of the first, so many of the second, each of the
# third, and the other way round.
APART = {
    "en": (
        (
            *("no", "never", "if", "afraid of", "nearly", "thought I was going to", "my husband"),
            *("it", "which", "last year", "caught myself", "7 weeks ago", "found myself"),
            "but nearly",
        ),
        ("the", "knee"),
        ("a fall", "fell", "on the gravel"),
    ),
    "es": (
        (
            *("ni", "nunca", "si", "miedo a", "casi", "pensé que", "mi marido", "eso", "cuánto"),
            *("el año pasado", "me agarré a tiempo", "hace 7 semanas", "perdí el equilibrio"),
        ),
        ("la", "rodilla"),
        ("una caída", "me caí", "contra la acera"),
    ),
}
BETWEEN = (*range(9), 12, 13, 14, 15, 16)
ASKED = ("result", "result", "result", "hurt", "fall_yes_no", "pain_score")
JOINS = (" ", " ", " ", " ", " ", ", ", ". ", " and ", "! ", "? ", "; ", " or ", " but ")
JOINS_ES = (" ", " ", " ", " ", " ", ", ", ". ", " y ", "! ", "? ", "; ", " ni ", " pero ")

EN = (
    """
fell|I fell|a fall|falls|fallen|came a cropper|tripped up|a near miss|fell out of it|big splat
shaken up|on the floor|on the gravel|in a heap|found myself|was found by my son|feel|slipped|pain
hurts|sore|my hip is playing up|uncomfortable|pain free|no pain|aches|put my back out|twinge|dizzy
head spun|woozy|felt strange|lightheaded|everything went black|chest pain|passed out|can't get up
can't breathe|broke my wrist|stuck on the floor|leg looks shorter|hit my head
lay there for two hours|nobody answers|at the hospital|bleeding|a stroke of luck|fell asleep|no
not|never|hardly any|not really|0|zero|none|nothing|didn't|no more|without|neither|nor|or|nearly
almost|close to|caught myself|felt like|thought I was going to|going to|lost my balance|if|if I
afraid of|worried about|in case|hope|might|would|so I don't|any|what if|I|my|me|myself|my husband
my wife|my sister who|she|he|her|his|mum|dad|the dog|a vase|it|the nurse|writing for my mother
It's Jean's son|this is her daughter|with my son|my friend Joan|Joan|last year|years ago
7 weeks ago|3 weeks ago|weeks|in 2019|in 1950|yesterday|today|this morning|now|on the stairs
in the kitchen|in Bexhill|grabbed the rail|outside|in the garden|went over|went over to|20|20 secs
5|steady|wobbly|left|right|both|12 and a half|held for 15|knee|hip|back|chest|leg|arm|head|zorb
blurgh|kettle|quince|the|a|in|at all|really|just|a bit of|still|again|until today|but today
did you|what|why|which foot|please|thanks|help|too hard|on purpose|all good|and then|so|because
when|doctor|tablets|weather|the cat|down|up|over|off|out|hard|bad|worse|better|fine|ok
""".replace("\n", "|")
    .strip("|")
    .split("|")
)
ES = (
    """
me caí|caí|una caída|caídas|caída|me fui al suelo|me tropecé|casi me caigo|me salí de la postura
menudo batacazo|en el suelo|contra la acera|perdí el equilibrio|resbalé|mi hija me vio tumbada
me duele|dolor|molestia|dolores|la rodilla está fatal|tomé un paracetamol|sin dolor|duele|me mareé
vértigo|mareo|mareada|mareos|se me nubló la vista|aturdida|dolor en el pecho|me desmayé
no me puedo levantar|estoy tirada en el suelo|me rompí la muñeca|no puedo respirar|me ingresaron
pasé horas|nadie me contesta|espero ayuda|me caes bien|análisis de sangre|me golpeé la cabeza|no
nunca|ninguna|ningún|apenas|no creo que|cero|0|nada de|sin|ni|tampoco|no tengo|o|ninguno|casi
me agarré a tiempo|pensé que|por poco|a punto de|sentí que|si|por si|para evitar|podría|ojalá
miedo a|no vaya a ser|yo|mi|me|mi marido|mi vecina|mi hermana|ella|él|su|mi madre|mamá|el perro
el vaso|eso|la enfermera|soy su hija|habla Juana su hija|soy Juana|con mi hija|quien|se cayó
se mareó|le duele|tiene|el año pasado|hace años|hace 7 semanas|hace 2 semanas|semanas|en 2019|ayer
hoy|esta mañana|en la cocina|en la escalera|en la ducha|en Toledo|al bajar|fuera|20|20 segundos|5
firme|temblando|izquierda|derecha|las dos|rodilla|cadera|espalda|pecho|pierna|zorbo|tetera
membrillo|la|el|un|de|en|más|muy|bastante|otra vez|hasta hoy|pero hoy|todavía|cuándo|qué|por qué
gracias|ayuda|por favor|muy difícil|bien|mal|regular|y luego|porque|cuando|médico|pastilla|tiempo
gato|abajo|peor|mejor
""".replace("\n", "|")
    .strip("|")
    .split("|")
)


def texts(language: str) -> Iterator[tuple[str, str]]:
    """Each made-up text with what was asked; drawn by `random()` alone, the same on any Python."""
    words, joins = (EN, JOINS) if language == "en" else (ES, JOINS_ES)
    draw = Random(7 if language == "en" else 8).random

    def one(of: tuple[str, ...] | list[str]) -> str:
        return of[int(draw() * len(of))]

    for _ in range(DRAWN[language]):
        text = one(words)
        for _ in range(1 + int(draw() * draw() * 13)):
            text += one(joins) + one(words)
        yield text, one(ASKED)
    firsts, fillers, lasts = APART[language]
    for first, filler, last, many in product(firsts, fillers, lasts, BETWEEN):
        between = f" {filler}" * many
        yield f"{first}{between} {last}", "result"
        yield f"{last}{between} {first}", "result"


def line_of(language: str, text: str, asked: str) -> str:
    """One text and what was read of it: F, P, D, E for a fall, pain, dizziness, an emergency, each
    with + for yes, ? for unsure and the places of the words behind it; the part of the body; then
    s or w for steadiness told.
    """
    context = Context(language=language, asked=asked)  # type: ignore[arg-type]
    got: dict[str, Any] = as_json(text, read(text, context, second=False))
    told = []
    for name in ("fall", "pain", "dizzy", "emergency"):
        sign = {"yes": "+", True: "+", "unsure": "?"}.get(got[name])
        if sign:
            told.append(f"{name[0].upper()}{sign}{_places(got, name)}")
    if got["body_part"]:
        told.append(f"{got['body_part']}@{_places(got, 'body_part')}")
    how = {"steady": "s", "wobbly": "w"}.get(got["steadiness"] or "", "-")
    return f"{text} |{asked}| {' '.join(told) or '.'} {how}"


def _places(got: dict[str, Any], name: str) -> str:
    return ",".join(f"{one['start']}-{one['end']}" for one in got["because"].get(name, ()))


def file_of(language: str) -> Path:
    return HERE / f"readings_{language}.txt"


def lines(language: str) -> list[str]:
    return [line_of(language, text, asked) for text, asked in texts(language)]


if __name__ == "__main__":
    for each in DRAWN:
        file_of(each).write_text("\n".join(lines(each)) + "\n", encoding="utf-8")
