"""What is filled in for a new client, read from plain words: from a page or a line of a CSV file.

Every field is a string under its own name. All that is wrong is told at once, field by field.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from rungwise.coach.enrolment.baseline import Suggestion, first_rung, not_held
from rungwise.coach.enrolment.body_form import MEASURED, read_body, read_equipment, read_usual_pain
from rungwise.coach.enrolment.clients import NewClient
from rungwise.coach.enrolment.form_reader import Reader, read_kin
from rungwise.coach.enrolment.home_checklist import NAMES as HOME_NAMES
from rungwise.coach.enrolment.home_checklist import not_ready
from rungwise.coach.enrolment.phone_check import Phone, look_at
from rungwise.coach.enrolment.screening import Outcome, Screened, screen
from rungwise.coach.enrolment.screening_questions import QUESTIONS
from rungwise.coach.record.codec import PlanSettings, ladder_of
from rungwise.coach.record.fields import (
    Unfinished,
    address,
    hour,
    name_or_refuse,
    number,
    sentence,
    several,
)
from rungwise.coach.record.quiet_hours import refuse_quiet_hour
from rungwise.errors import ImpossibleValue, ServiceError
from rungwise.evidence.four_stage import STAGES, FourStage, four_stage
from rungwise.ladder.body import HOLD_S, Equipment, Limits, Profile
from rungwise.ladder.caution import PRESETS
from rungwise.ladder.rungs import Rung
from rungwise.store.tables import Practice
from rungwise.time_zone import ChosenZone, zone_for
from rungwise.wording.texts import LANGUAGES

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
STAGE_FIELDS = tuple(f"stage_{place}" for place in range(1, len(STAGES) + 1))
EASIER_SHOWN = 3
NOT_TRIED = "not tried"

# What a field holds when nothing was filled in, as the page shows it.
DEFAULTS: Mapping[str, str] = {
    "mat_layers": "0",
    "foam": "none",
    "weaker": "none",
    "no_full_weight": "none",
    "prompt_at": "09:00",
    "weekdays": " ".join(WEEKDAYS),
    "target_s": "20",
    "caution": "usual",
}
WHO = ("name", "called", "phone", "address", "time_zone", "language")
MEASURES = ("sex", "height_cm", "shoe_size", "shoe_system", *MEASURED, "narrowest_cm")
KIN = ("kin", "kin_phone", "number_to_second")
SPARED = ("big_toe_pain", "weaker", "no_full_weight", "usual_pain", "usual_pain_score")
PLACE = ("mat_layers", "foam", "home", "someone", *KIN)
WHEN = ("prompt_at", "weekdays", "target_s", "caution")
ASKED = tuple(question.name for question in QUESTIONS)
FIELDS = (*WHO, *ASKED, *MEASURES, *SPARED, *PLACE, *STAGE_FIELDS, *WHEN, "first_key", "agreed")
NOT_HELD = "Feet together was not held for 10 s: not ready to practise alone without a word first."


@dataclass(frozen=True, slots=True)
class Draft:
    """A client as filled in, and everything that follows from it before anything is stored.

    `easier` are other rungs to start on, none harder than the suggested one. `holding` says why a
    clinician is asked first or texts are not the way; `waits_for` what else must happen before the
    first text; `unreached` that no test page to the trainer was answered.
    """

    new: NewClient
    phone: Phone
    zone: ChosenZone
    answers: Mapping[str, str]
    screened: Screened
    in_place: frozenset[str]
    someone: str
    shown: FourStage | None
    suggestion: Suggestion
    easier: tuple[Rung, ...]
    agreed: bool
    unreached: tuple[str, ...] = ()

    @property
    def outcome(self) -> Outcome:
        if self.screened.outcome == "start" and self.baseline_holds:
            return "ask_first"
        return self.screened.outcome

    @property
    def baseline_holds(self) -> bool:
        return self.shown is not None and not_held(self.shown.held_s)

    @property
    def holding(self) -> tuple[str, ...]:
        return (*self.screened.reasons, *([NOT_HELD] if self.baseline_holds else []))

    @property
    def waits_for(self) -> tuple[str, ...]:
        lacking = [f"Not in place yet: {item.label}." for item in not_ready(self.in_place)]
        lacking += self.unreached
        return (*lacking, *([] if self.agreed else ["They have not agreed to texts yet."]))

    @property
    def begins(self) -> bool:
        """Whether the first text goes at once."""
        return self.outcome == "start" and not self.waits_for

    @property
    def rung(self) -> Rung:
        """The rung they start on: the suggested one or an easier one."""
        for rung in self.easier:
            if rung.key == self.new.first_key:
                return rung
        return self.suggestion.rung


def read_intake(
    given: Mapping[str, str],
    practice: Practice,
    screened: bool = True,
    unreached: tuple[str, ...] = (),
) -> Draft:
    """The draft, or Unfinished with a sentence for each field that is wrong.

    With `screened` False the questions may all be left out, for lists of people to be asked later.
    `unreached` says that the trainer has not answered a test page.
    """
    form = Reader({**DEFAULTS, "language": practice.language, **_filled(given)})
    draft = _read(form, practice, screened)
    if draft is None or form.problems:
        raise Unfinished(form.problems)
    return replace(draft, unreached=unreached)


def _filled(given: Mapping[str, str]) -> dict[str, str]:
    return {name: value.strip() for name, value in given.items() if value.strip()}


def _read(form: Reader, practice: Practice, must_screen: bool) -> Draft | None:
    name = form.take("name", lambda words: name_or_refuse("name", words), "Fill in their name.")
    called = form.take("called", lambda words: name_or_refuse("called", words))
    phone = form.take(
        "phone", lambda words: look_at(words, practice.country), "Fill in the phone's number."
    )
    where = form.take("address", address)
    kin, kin_phone = read_kin(form, practice.country)
    zone = _zone(form, phone, practice)
    language = form.choice("language", tuple(LANGUAGES))
    answers, screened = _screening(form, must_screen)
    settings = _settings(form, practice)
    limits = Limits(no_soft_surface=screened.no_soft_surface, two_hands=screened.two_hands)
    profile = _profile(form, limits, settings.target_s)
    shown = _baseline(form)
    in_place = form.take("home", lambda words: several("home", words, HOME_NAMES)) or ()
    agreed, to_second = form.flag("agreed"), form.flag("number_to_second")
    if form.problems or name is None or phone is None or zone is None or profile is None:
        return None
    ladder = ladder_of(profile)
    suggestion = first_rung(ladder, shown)
    place = ladder.index(suggestion.rung.key)
    below = [rung for rung in reversed(ladder.rungs[:place]) if rung.landmark][:EASIER_SHOWN]
    lowest = ladder.rungs[0]
    if place > 0 and lowest not in below:
        below.append(lowest)
    key = form["first_key"]
    new = NewClient(
        name=name,
        called=called or name.split()[0],
        phone=phone.e164,
        address=where or "",
        kin=kin,
        kin_phone=kin_phone,
        number_to_second=to_second,
        profile=profile,
        time_zone=zone.zone,
        language=language,
        first_key=key if key in {rung.key for rung in below} else suggestion.rung.key,
        first_reason=suggestion.because,
        settings=settings,
    )
    if new.first_key != suggestion.rung.key:
        new = replace(new, first_reason=f"{suggestion.because} An easier rung was chosen.")
    return Draft(
        new=new,
        phone=phone,
        zone=zone,
        answers=answers,
        screened=screened,
        in_place=frozenset(in_place),
        someone=form["someone"][:80],
        shown=shown,
        suggestion=suggestion,
        easier=tuple(below),
        agreed=agreed,
    )


def _zone(form: Reader, phone: Phone | None, practice: Practice) -> ChosenZone | None:
    if phone is None:
        return None
    try:
        return zone_for(phone.zones, form["time_zone"], practice.time_zone)
    except ServiceError as error:
        form.problems["time_zone"] = sentence(error)
        return None


def _screening(form: Reader, needed: bool) -> tuple[dict[str, str], Screened]:
    answers = {
        question.name: form[question.name].lower() for question in QUESTIONS if form[question.name]
    }
    if not answers and not needed:
        return {}, Screened("ask_first", ("The screening questions have not been asked yet.",))
    for question in QUESTIONS:
        try:
            question.choice(answers.get(question.name, ""))
        except ImpossibleValue as error:
            asked = "Ask this and choose an answer."
            form.problems[question.name] = sentence(error) if error.value else asked
    if any(question.name in form.problems for question in QUESTIONS):
        return answers, Screened("ask_first")
    return answers, screen(answers)


def _settings(form: Reader, practice: Practice) -> PlanSettings:
    plain = PlanSettings()
    prompt_at = form.take("prompt_at", hour) or plain.prompt_at
    try:
        refuse_quiet_hour(practice, replace(plain, prompt_at=prompt_at))
    except ImpossibleValue as error:
        form.problems["prompt_at"] = sentence(error)
    days = form.take("weekdays", lambda words: several("weekdays", words, WEEKDAYS))
    if days == ():
        form.problems["weekdays"] = "Choose at least one day."
    target_s = form.take("target_s", lambda words: round(number(words, *HOLD_S)))
    return PlanSettings(
        prompt_at=prompt_at,
        weekdays=frozenset(WEEKDAYS.index(day) for day in days or WEEKDAYS),
        target_s=target_s or plain.target_s,
        caution=PRESETS[form.choice("caution", tuple(PRESETS))],
        usual_pain=read_usual_pain(form),
    )


def _profile(form: Reader, limits: Limits, target_s: int) -> Profile | None:
    body = read_body(form)
    equipment = read_equipment(form, Equipment())
    if body is None:
        return None
    return Profile(body, equipment, limits, target_s=target_s)


def _stand(words: str) -> float | str:
    return NOT_TRIED if words.lower() == NOT_TRIED else number(words, 0, 10)


def _baseline(form: Reader) -> FourStage | None:
    times = [form.take(name, _stand) for name in STAGE_FIELDS]
    if any(name in form.problems for name in STAGE_FIELDS):
        return None
    given = list(times)
    while given and given[-1] is None:
        given.pop()
    if all(held_s in (None, NOT_TRIED) for held_s in given):
        return None
    for place, held_s in enumerate(given):
        if held_s is None:
            form.problems[STAGE_FIELDS[place]] = (
                "Fill in its seconds, or tick that it was not tried."
            )
            return None
    try:
        return four_stage([None if held_s == NOT_TRIED else held_s for held_s in given])
    except ImpossibleValue as error:
        place = STAGES.index(error.field) if error.field in STAGES else 0
        form.problems[STAGE_FIELDS[place]] = f"It must be {error.allowed}."
        return None
