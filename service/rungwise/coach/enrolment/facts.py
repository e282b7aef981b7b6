"""The facts of a client that can be changed after the intake, and what a change of each leads to.

Plain values in and out. Fields have the intake's names and are read the intake's way; what the
intake does not ask has its row here.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import time
from enum import StrEnum

from rungwise.coach.enrolment.body_form import (
    MEASURED,
    read_body,
    read_equipment,
    read_usual_pain,
)
from rungwise.coach.enrolment.form_reader import Reader, read_kin
from rungwise.coach.enrolment.home_checklist import NAMES as HOME_NAMES
from rungwise.coach.enrolment.phone_check import Phone, look_at
from rungwise.coach.enrolment.second_phones import read_phones
from rungwise.coach.record.codec import UsualPain
from rungwise.coach.record.fields import (
    LONGEST_NAME,
    Unfinished,
    address,
    hour,
    name_or_refuse,
    number,
    several,
)
from rungwise.errors import ImpossibleValue
from rungwise.ladder.body import (
    FOAM_LENGTH_MM,
    FOAM_WIDTH_MM,
    HOLD_S,
    MAT_LAYER_MM,
    MAT_SIDE_MM,
    NARROW_MM,
    OPENABLE_TASKS,
    Equipment,
    Limits,
    Narrowing,
    Profile,
)
from rungwise.time_zone import zone_named
from rungwise.wording.texts import LANGUAGES


class LeadsTo(StrEnum):
    """What a change of a fact sets off."""

    RECORD = "record"  # pages and exports show it, nothing else
    TEXTS = "texts"  # the texts say it otherwise
    HOURS = "hours"  # texts come at other moments
    PHONE = "phone"  # the new phone is asked first
    NUMBER = "number"  # texts come from elsewhere, and say so once
    TRAINER = "trainer"  # a colleague takes the client on
    LADDER = "ladder"  # the ladder is built anew


@dataclass(frozen=True, slots=True)
class Fact:
    """A fact as people name it. `of_person`: its values stay out of the audit trail."""

    label: str
    leads_to: LeadsTo
    of_person: bool = False


FACTS: Mapping[str, Fact] = {
    "name": Fact("Name", LeadsTo.RECORD, of_person=True),
    "called": Fact("Called in texts", LeadsTo.TEXTS, of_person=True),
    "phone": Fact("Mobile phone", LeadsTo.PHONE, of_person=True),
    "second_phones": Fact("Second phones", LeadsTo.RECORD, of_person=True),
    "address": Fact("Address", LeadsTo.RECORD, of_person=True),
    "kin": Fact("Next of kin", LeadsTo.RECORD, of_person=True),
    "kin_phone": Fact("Next of kin's phone", LeadsTo.RECORD, of_person=True),
    "number_to_second": Fact("Agreed: the second contact gets their numbers", LeadsTo.RECORD),
    "language": Fact("Language of texts", LeadsTo.TEXTS),
    "time_zone": Fact("Time zone", LeadsTo.HOURS),
    "prompt_at": Fact("Hour of the text", LeadsTo.HOURS),
    "trainer": Fact("Trainer", LeadsTo.TRAINER, of_person=True),
    "sends_from": Fact("Number that texts come from", LeadsTo.NUMBER, of_person=True),
    "someone": Fact("Who knows when they practise", LeadsTo.RECORD, of_person=True),
    "home": Fact("In place at home", LeadsTo.RECORD),
    "feet": Fact("Feet", LeadsTo.LADDER),
    "foot_length_cm": Fact("Foot length, cm", LeadsTo.LADDER),
    "foot_breadth_cm": Fact("Foot breadth, cm", LeadsTo.LADDER),
    "hip_width_cm": Fact("Between the hip joints, cm", LeadsTo.LADDER),
    "narrowest_cm": Fact("Narrowest comfortable, cm", LeadsTo.LADDER),
    "ahead_cm": Fact("Comfortable step, heel beyond the toes, cm", LeadsTo.LADDER),
    "weaker": Fact("Weaker leg", LeadsTo.LADDER),
    "no_full_weight": Fact("Leg that must not take full weight", LeadsTo.LADDER),
    "big_toe_pain": Fact("Big toe hurts when pressed or bent", LeadsTo.LADDER),
    "usual_pain": Fact("Usual pain", LeadsTo.RECORD),
    "usual_pain_score": Fact("How bad on a usual day, of 10", LeadsTo.RECORD),
    "mat_layers": Fact("Mat, folds to", LeadsTo.LADDER),
    "mat_layer_mm": Fact("Mat, one layer, mm", LeadsTo.LADDER),
    "mat_length_cm": Fact("Mat laid out, length, cm", LeadsTo.LADDER),
    "mat_width_cm": Fact("Mat laid out, width, cm", LeadsTo.LADDER),
    "foam": Fact("Half foam", LeadsTo.LADDER),
    "foam_width_cm": Fact("Half foam, width, cm", LeadsTo.LADDER),
    "foam_length_cm": Fact("Half foam before cutting, length, cm", LeadsTo.LADDER),
    "tape": Fact("Tape with marks on the floor", LeadsTo.LADDER),
    "no_soft_surface": Fact("No soft surface", LeadsTo.LADDER),
    "two_hands": Fact("Both hands stay on the counter", LeadsTo.LADDER),
    "longest_hold_s": Fact("Longest hold, seconds", LeadsTo.LADDER),
    "tasks": Fact("Opened beside standing", LeadsTo.LADDER),
    "narrow_mm": Fact("Step together, mm", LeadsTo.LADDER),
    "later_narrow_mm": Fact("Step on later rounds, mm", LeadsTo.LADDER),
    "one_foot": Fact("One foot at a time", LeadsTo.LADDER),
}
# Given only to guess the feet anew; what is kept is the guess.
GUESSED_FROM = ("sex", "height_cm", "shoe_size", "shoe_system")
# Follows from the others, and is not given.
DERIVED = ("feet",)
FIELDS = (*(name for name in FACTS if name not in DERIVED), *GUESSED_FROM)
TICKS = ("number_to_second", "big_toe_pain", "tape", "no_soft_surface", "two_hands", "one_foot")
LISTS = ("home", "tasks")
UNKNOWN_FIELD = "There is no such fact."


@dataclass(frozen=True, slots=True)
class Facts:
    """A client's facts. `trainer` is an e-mail address; phones are in E.164.

    `second_phones` has whose each is, by number. Without a rung a client has no plan yet: then
    `profile`, `prompt_at` and `usual_pain` are None.
    """

    name: str
    called: str
    phone: str
    second_phones: Mapping[str, str]
    address: str
    kin: str
    kin_phone: str
    number_to_second: bool
    language: str
    time_zone: str
    trainer: str
    sends_from: str
    someone: str
    home: frozenset[str]
    prompt_at: time | None
    usual_pain: UsualPain | None
    profile: Profile | None


@dataclass(frozen=True, slots=True)
class Choices:
    """What a client of this practice can be given: trainers by e-mail address, sending numbers."""

    country: str
    trainers: Mapping[str, str]
    numbers: tuple[str, ...]
    most_target_s: int


def told(facts: Facts) -> dict[str, str]:
    """Every fact in words, as they are compared, shown and kept on record."""
    second = sorted(facts.second_phones.items())
    found = {
        "name": facts.name,
        "called": facts.called,
        "phone": facts.phone,
        "second_phones": "; ".join(f"{phone} {whose}" for phone, whose in second),
        "address": facts.address,
        "kin": facts.kin,
        "kin_phone": facts.kin_phone,
        "number_to_second": _tick(facts.number_to_second),
        "language": facts.language,
        "time_zone": facts.time_zone,
        "trainer": facts.trainer,
        "sends_from": facts.sends_from,
        "someone": facts.someone,
        "home": " ".join(name for name in HOME_NAMES if name in facts.home),
    }
    if facts.prompt_at is not None:
        found["prompt_at"] = facts.prompt_at.isoformat("minutes")
    if facts.profile is not None:
        usual = facts.usual_pain
        found["usual_pain"] = usual.place if usual else ""
        found["usual_pain_score"] = str(usual.score) if usual else ""
        found |= _profile_told(facts.profile)
    return found


def _profile_told(profile: Profile) -> dict[str, str]:
    body, home, limits, steps = profile.body, profile.equipment, profile.limits, profile.narrowing
    return {
        "feet": "guessed" if body.estimated else "measured",
        "foot_length_cm": _cm(body.foot_length_mm),
        "foot_breadth_cm": _cm(body.foot_breadth_mm),
        "hip_width_cm": _cm(body.hip_width_mm),
        "narrowest_cm": _cm(body.narrowest_offset_mm),
        "ahead_cm": _cm(body.ahead_mm),
        "weaker": str(body.weaker or "none"),
        "no_full_weight": str(body.no_full_weight or "none"),
        "big_toe_pain": _tick(body.big_toe_pain),
        "mat_layers": str(home.mat_layers),
        "mat_layer_mm": _whole(home.mat_layer_mm),
        "mat_length_cm": _cm(home.mat_length_mm),
        "mat_width_cm": _cm(home.mat_width_mm),
        "foam": _foam(home),
        "foam_width_cm": _cm(home.half_foam_width_mm),
        "foam_length_cm": _cm(home.half_foam_length_mm),
        "tape": _tick(home.tape),
        "no_soft_surface": _tick(limits.no_soft_surface),
        "two_hands": _tick(limits.two_hands),
        "longest_hold_s": str(limits.longest_hold_s),
        "tasks": " ".join(sorted(limits.opened_tasks)),
        "narrow_mm": str(steps.narrow_mm),
        "later_narrow_mm": _whole(steps.later_narrow_mm),
        "one_foot": _tick(steps.one_foot),
    }


def _cm(length_mm: int | None) -> str:
    return "" if length_mm is None else f"{length_mm / 10:g}"


def _whole(value: int | None) -> str:
    return "" if value is None else str(value)


def _tick(value: bool) -> str:
    return "yes" if value else "no"


def _foam(home: Equipment) -> str:
    if home.half_foam_whole:
        return "both" if home.half_foam_cut else "whole"
    return "cut" if home.half_foam_cut else "none"


def filled_in(facts: Facts) -> dict[str, str]:
    """The facts as a form holds them: measures that were only guessed stand empty."""
    words = {name: value for name, value in told(facts).items() if name not in DERIVED}
    if facts.profile is not None and facts.profile.body.estimated:
        words |= dict.fromkeys(MEASURED, "")
    return words


def changed(before: Facts, after: Facts) -> dict[str, tuple[str, str]]:
    """What differs, as words before and after, in the order of FACTS."""
    old, new = told(before), told(after)
    return {name: (old[name], new[name]) for name in FACTS if old.get(name) != new.get(name)}


# --- reading --------------------------------------------------------------------------------------


def read_facts(given: Mapping[str, str], held: Facts, choices: Choices) -> tuple[Facts, Phone]:
    """The facts with what is given in place of what is held, and what the phone tells.

    What is not named stays. Unfinished, with a sentence for each field that cannot be used.
    """
    strange = sorted(set(given) - set(FIELDS))
    if strange:
        raise Unfinished(dict.fromkeys(strange, UNKNOWN_FIELD))
    words = {**filled_in(held), **{name: value.strip() for name, value in given.items()}}
    form = Reader({name: value for name, value in words.items() if value})
    name = form.take("name", lambda one: name_or_refuse("name", one), "Fill in their name.")
    called = form.take("called", lambda one: name_or_refuse("called", one))
    phone = form.take(
        "phone", lambda one: look_at(one, choices.country), "Fill in the phone's number."
    )
    second = form.take("second_phones", lambda one: read_phones(one, choices.country)) or {}
    where = form.take("address", address)
    kin, kin_phone = read_kin(form, choices.country)
    zone = form.take("time_zone", lambda one: zone_named(one).key, "Choose their time zone.")
    trainer = form.take(
        "trainer", lambda one: _one(one.lower(), tuple(choices.trainers)), "Choose."
    )
    sends_from = form.take("sends_from", lambda one: _one(one, choices.numbers), "Choose one.")
    home = form.take("home", lambda one: several("home", one, HOME_NAMES)) or ()
    profile = _profile(form, held.profile, choices) if held.profile is not None else None
    usual = read_usual_pain(form) if held.profile is not None else None
    if phone is not None and phone.e164 == held.phone and phone.e164 in second:
        form.problems["second_phones"] = f"{phone.e164} is where their texts go already."
    if form.problems or name is None or phone is None or zone is None:
        raise Unfinished(form.problems)
    facts = Facts(
        name=name,
        called=called or name.split()[0],
        phone=phone.e164,
        second_phones=second,
        address=where or "",
        kin=kin,
        kin_phone=kin_phone,
        number_to_second=form.flag("number_to_second"),
        language=form.choice("language", tuple(LANGUAGES)),
        time_zone=zone,
        trainer=trainer or held.trainer,
        sends_from=sends_from or held.sends_from,
        someone=form["someone"][:LONGEST_NAME],
        home=frozenset(home),
        prompt_at=held.prompt_at and (form.take("prompt_at", hour) or held.prompt_at),
        usual_pain=usual,
        profile=profile,
    )
    if form.problems:
        raise Unfinished(form.problems)
    return facts, phone


def _one(words: str, allowed: tuple[str, ...]) -> str:
    if words not in allowed:
        raise ImpossibleValue("choice", words, " or ".join(allowed))
    return words


def _profile(form: Reader, held: Profile, choices: Choices) -> Profile | None:
    body = read_body(form, held.body)
    if form["shoe_size"] and not held.body.estimated:
        form.problems["shoe_size"] = "The feet are measured, so nothing is guessed from a shoe."
    equipment = _equipment(form, held.equipment)
    limits = _limits(form, held.limits, choices.most_target_s)
    narrowing = Narrowing(
        narrow_mm=_number(form, "narrow_mm", NARROW_MM) or held.narrowing.narrow_mm,
        one_foot=form.flag("one_foot"),
        later_narrow_mm=_number(form, "later_narrow_mm", NARROW_MM),
    )
    if body is None or equipment is None or form.problems:
        return None
    target_s = min(held.target_s, limits.longest_hold_s)
    return Profile(body, equipment, limits, narrowing, target_s)


def _equipment(form: Reader, held: Equipment) -> Equipment | None:
    layer_mm = _number(form, "mat_layer_mm", MAT_LAYER_MM) or held.mat_layer_mm
    length, width = (form.mm(f"mat_{side}_cm", *MAT_SIDE_MM) for side in ("length", "width"))
    for given, other, name in ((length, width, "width"), (width, length, "length")):
        if given is not None and other is None:
            form.problems.setdefault(f"mat_{name}_cm", "Fill in both sides of the mat, or neither.")
    foam_width = form.mm("foam_width_cm", *FOAM_WIDTH_MM) or held.half_foam_width_mm
    foam_length = form.mm("foam_length_cm", *FOAM_LENGTH_MM) or held.half_foam_length_mm
    if form.problems:
        return None
    return replace(
        read_equipment(form, held),
        mat_layer_mm=layer_mm,
        mat_length_mm=length,
        mat_width_mm=width,
        half_foam_width_mm=foam_width,
        half_foam_length_mm=foam_length,
        tape=form.flag("tape"),
    )


def _limits(form: Reader, held: Limits, most_target_s: int) -> Limits:
    longest_s = _number(form, "longest_hold_s", HOLD_S) or held.longest_hold_s
    if longest_s < most_target_s:
        form.problems["longest_hold_s"] = (
            f"It must be at least the {most_target_s} seconds that they hold now. Lower those in "
            f"the plan first."
        )
        longest_s = held.longest_hold_s
    allowed = tuple(sorted(OPENABLE_TASKS))
    tasks = form.take("tasks", lambda words: several("tasks", words, allowed)) or ()
    two_hands = form.flag("two_hands")
    if two_hands and tasks:
        form.problems["tasks"] = "Nothing is opened beside standing while both hands stay on."
        tasks = ()
    return replace(
        held,
        no_soft_surface=form.flag("no_soft_surface"),
        two_hands=two_hands,
        longest_hold_s=longest_s,
        opened_tasks=frozenset(tasks),
    )


def _number(form: Reader, name: str, bounds: tuple[int, int]) -> int | None:
    return form.take(name, lambda words: round(number(words, *bounds)))
