"""The body, its usual pain and what it stands on, from a form; feet are guessed until measured."""

from dataclasses import replace

from rungwise.coach.enrolment.form_reader import Reader
from rungwise.coach.enrolment.heights import height_mm
from rungwise.coach.plan.usual_pain import USUAL_PLACES, usual_score
from rungwise.coach.record.codec import UsualPain
from rungwise.coach.record.fields import number, one_of, sentence
from rungwise.errors import ImpossibleValue
from rungwise.ladder.body import (
    AHEAD_MM,
    FOOT_BREADTH_MM,
    FOOT_LENGTH_MM,
    HIP_WIDTH_MM,
    MAT_LAYERS,
    Body,
    Equipment,
)
from rungwise.ladder.shoe_sizes import SHOE_SYSTEMS, foot_length_mm
from rungwise.ladder.stance import Side

FOAM = ("none", "whole", "cut", "both")
SIDES = ("none", "left", "right")
MEASURED = ("foot_length_cm", "foot_breadth_cm", "hip_width_cm")
SHOES = tuple(SHOE_SYSTEMS)


def read_equipment(form: Reader, held: Equipment) -> Equipment:
    """The mat's layers and the half foam as filled in; all else as `held`."""
    layers = form.choice("mat_layers", tuple(str(one) for one in MAT_LAYERS))
    foam = form.choice("foam", FOAM)
    return replace(
        held,
        mat_layers=int(layers),
        half_foam_whole=foam in ("whole", "both"),
        half_foam_cut=foam in ("cut", "both"),
    )


def read_body(form: Reader, held: Body | None = None) -> Body | None:
    """Measured when any of the three measures is given, otherwise estimated.

    A body that is `held` stays as it is where the form tells nothing else; a guessed one is guessed
    anew only from a sex or a height that is given.
    """
    spared: dict[str, Side | None] = {
        name: None if (side := form.choice(name, SIDES)) == "none" else Side(side)
        for name in ("weaker", "no_full_weight")
    }
    narrowest = form.mm("narrowest_cm", FOOT_BREADTH_MM[0], HIP_WIDTH_MM[1])
    more = {**spared, "narrowest_offset_mm": narrowest, "big_toe_pain": form.flag("big_toe_pain")}
    if form["ahead_cm"]:
        more["ahead_mm"] = form.mm("ahead_cm", *AHEAD_MM)
    measured = any(form[name] for name in MEASURED)
    try:
        found = _measured(form, held) if measured else _guessed(form, held)
        if found is None or form.problems.keys() & {"narrowest_cm", "ahead_cm"}:
            return None
        return replace(found, **more)  # type: ignore[arg-type]  # by name
    except ImpossibleValue as error:
        name = error.field.replace("_offset_mm", "_cm").replace("_mm", "_cm")
        form.problems[name] = sentence(error).replace("It holds", "In mm, it holds")
        return None


def _measured(form: Reader, held: Body | None) -> Body | None:
    length = form.mm("foot_length_cm", *FOOT_LENGTH_MM)
    breadth = form.mm("foot_breadth_cm", *FOOT_BREADTH_MM)
    hips = form.mm("hip_width_cm", *HIP_WIDTH_MM)
    for name, value in zip(MEASURED, (length, breadth, hips), strict=True):
        if value is None and name not in form.problems:
            form.problems[name] = "Measure all three, or leave all three empty."
    if length is None or breadth is None or hips is None:
        return None
    if held is not None and not held.estimated:
        same = (held.foot_length_mm, held.foot_breadth_mm, held.hip_width_mm)
        if same == (length, breadth, hips):
            return held
    return Body(length, breadth, hips)


def _guessed(form: Reader, held: Body | None) -> Body | None:
    height = form.take("height_cm", height_mm)
    shoe = _shoe_mm(form)
    told = any(form[name] for name in ("sex", "height_cm", "shoe_size"))
    if held is not None and held.estimated and not told:
        return held
    needed = "Choose one: without measures the feet are guessed from it."
    sex = form.take("sex", lambda words: one_of("sex", words, ("female", "male")), needed)
    if sex is None:
        return None
    return Body.estimate(height, sex, foot_length_mm=shoe)  # type: ignore[arg-type]  # one of the two


def _shoe_mm(form: Reader) -> int | None:
    """The foot's length by the shoe size that was given, in mm."""
    size = form.take("shoe_size", lambda words: number(words, 0, 400))
    system = form.take("shoe_system", lambda words: one_of("shoe_system", words, SHOES))
    if size is None:
        return None
    if system is None:
        form.problems.setdefault("shoe_system", "Choose which sizes these are.")
        return None
    return form.take("shoe_size", lambda _: foot_length_mm(size, system))


def read_usual_pain(form: Reader) -> UsualPain | None:
    """The pain that is this client's normal; where and how bad come together or not at all."""
    place = form.take("usual_pain", lambda words: one_of("usual_pain", words, USUAL_PLACES))
    needed = "Choose how bad it is on a usual day, from 0 to 5 of 10." if place else ""
    score = form.take("usual_pain_score", usual_score, needed)
    if score is not None and not form["usual_pain"]:
        form.problems["usual_pain"] = "Choose where it hurts, or leave out how bad."
    return None if place is None or score is None else UsualPain(place, score)
