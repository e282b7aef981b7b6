"""A new client from the intake, and what must be settled before the first text goes."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, select

from rungwise.coach.alerting.page_test import unreached
from rungwise.coach.daily.client_state import rest_client
from rungwise.coach.daily.welcome import consent_wording, welcome
from rungwise.coach.enrolment.baseline import not_held
from rungwise.coach.enrolment.clients import add_client
from rungwise.coach.enrolment.home_checklist import NAMES as HOME_NAMES
from rungwise.coach.enrolment.home_checklist import missing, not_ready
from rungwise.coach.enrolment.intake_form import NOT_HELD, Draft
from rungwise.coach.enrolment.screening import not_asked, screen, screened_then
from rungwise.coach.enrolment.screening_questions import RULES_VERSION
from rungwise.coach.plan.new_ladder import keep_off
from rungwise.coach.record.audit import record
from rungwise.coach.record.clearance import latest_screening, refuse_uncleared
from rungwise.coach.record.situation import load
from rungwise.errors import ImpossibleValue, ServiceError
from rungwise.store.tables import Baseline, Client, HomeSetup, Practice, Screening, Trainer
from rungwise.time_zone import zone_named

LONGEST_NAME = 80
LONGEST_WORDS = 1000
UNASKED = "The screening questions have not been asked yet."


class AlreadyBegun(ServiceError):
    """This client gets texts already, or has ended them. Pause or change the plan instead."""


class NotReady(ServiceError):
    """Something is still missing before the first text."""

    def __init__(self, lacking: str) -> None:
        super().__init__(f"{lacking} Settle this first; then texts can begin.")


def add_from(
    session: Session, now: datetime, trainer: Trainer, draft: Draft, *, begin: bool = True
) -> Client:
    """Store everything of a draft in this transaction; the first text goes if nothing holds it.

    Without `begin` no text goes, whoever might have one.
    """
    client = add_client(session, now, trainer, draft.new)
    if draft.answers:
        _store_screening(session, now, trainer, client, draft.answers, draft.outcome)
    _store_home(session, now, trainer, client, draft.in_place, draft.someone)
    if draft.shown is not None:
        session.add(
            Baseline(
                client_id=client.id,
                trainer_id=trainer.id,
                held_s=list(draft.shown.held_s),
                suggested_key=draft.suggestion.rung.key,
                because=draft.suggestion.because,
                on=now.astimezone(zone_named(client.time_zone)).date(),
                at=now,
            )
        )
    if draft.agreed:
        _agree(session, now, client)
    session.flush()
    if begin and draft.begins:
        _begin(session, now, trainer, client)
    return client


def _agree(session: Session, now: datetime, client: Client) -> None:
    """Record consent given to the trainer, also where texts don't begin yet."""
    practice = session.get_one(Practice, client.practice_id)
    client.consent_at = now
    client.consent_wording = consent_wording(practice, client.language)
    session.add(client)


def _begin(session: Session, now: datetime, trainer: Trainer, client: Client) -> None:
    agreed_at, wording = client.consent_at, client.consent_wording
    welcome(session, now, session.get_one(Practice, client.practice_id), client)
    client.consent_at, client.consent_wording = agreed_at, wording
    session.add(client)
    record(session, now, trainer, "texts begun", client_id=client.id)


def _store_screening(
    session: Session,
    now: datetime,
    trainer: Trainer,
    client: Client,
    answers: Mapping[str, str],
    outcome: str,
) -> None:
    session.add(
        Screening(
            client_id=client.id,
            trainer_id=trainer.id,
            answers=dict(answers),
            outcome=outcome,
            rules_version=RULES_VERSION,
            at=now,
        )
    )
    record(session, now, trainer, "screened", client_id=client.id, outcome=outcome)


def _store_home(
    session: Session,
    now: datetime,
    trainer: Trainer,
    client: Client,
    in_place: frozenset[str],
    someone: str,
) -> None:
    session.add(
        HomeSetup(
            client_id=client.id,
            trainer_id=trainer.id,
            in_place=[name for name in HOME_NAMES if name in in_place],
            someone=someone.strip()[:LONGEST_NAME] or None,
            at=now,
        )
    )


# --- before the first text ------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Standing:
    """What is on record before the first text, and what it still waits for.

    `reasons` are why a clinician is asked first or texts are not the way; `cares` what to mind;
    `newer_questions` how many questions are newer than the screening.
    """

    screening: Screening | None
    home: HomeSetup | None
    baseline: Baseline | None
    reasons: tuple[str, ...]
    cares: tuple[str, ...]
    waits_for: tuple[str, ...]
    missing: tuple[str, ...]
    newer_questions: int = 0

    @property
    def may_begin(self) -> bool:
        return not self.waits_for


def standing(session: Session, client: Client) -> Standing:
    """Everything on record about the start of this client. Three queries."""
    screening = latest_screening(session, client.id)
    home = latest_home(session, client.id)
    baseline = baseline_of(session, client.id)
    in_place = frozenset(home.in_place) if home is not None else frozenset()
    reasons: tuple[str, ...] = ()
    cares: tuple[str, ...] = ()
    waits: list[str] = []
    newer = 0
    if screening is None:
        waits.append(UNASKED)
    else:
        found = screened_then(screening.answers)
        reasons, cares = found.reasons, found.cares
        newer = len(not_asked(screening.answers))
        waits += _still_held(screening)
    if _not_held(baseline):
        reasons = (*reasons, NOT_HELD)
    waits += [f"Not in place yet: {item.label}." for item in not_ready(in_place)]
    waits += unreached(session, client)
    if client.consent_at is None:
        waits.append("They have not agreed to texts yet.")
    lacking = tuple(item.label for item in missing(in_place))
    return Standing(screening, home, baseline, reasons, cares, tuple(waits), lacking, newer)


def _still_held(screening: Screening) -> list[str]:
    if screening.outcome == "not_by_text":
        return ["Practice by text is not for this client, as the answers stand."]
    if screening.outcome == "ask_first" and screening.clinician_allows is None:
        return ["Ask their clinician first, and record the answer."]
    if screening.outcome == "ask_first" and screening.clinician_allows is False:
        return ["Their clinician advised against it."]
    return []


def _not_held(baseline: Baseline | None) -> bool:
    """Whether feet together was not held for the test's 10 s."""
    return baseline is not None and not_held(baseline.held_s)


def latest_home(session: Session, client_id: int) -> HomeSetup | None:
    """What is in place at the client's home, as it was last looked at."""
    rows = select(HomeSetup).where(HomeSetup.client_id == client_id)
    return session.exec(rows.order_by(col(HomeSetup.id).desc()).limit(1)).first()


def baseline_of(session: Session, client_id: int) -> Baseline | None:
    """The baseline that was taken at intake, if there was one."""
    rows = select(Baseline).where(Baseline.client_id == client_id)
    return session.exec(rows.order_by(col(Baseline.id).desc()).limit(1)).first()


def screen_again(
    session: Session, now: datetime, trainer: Trainer, client: Client, answers: Mapping[str, str]
) -> None:
    """Ask (again), at any time. Earlier answers stay on record.

    Who practises and may not as the new answers stand rests until that is settled. What the answers
    say the ladder must spare it spares from now on; only a trainer's word lets it back.
    """
    found = screen(answers)
    outcome = found.outcome
    if outcome == "start" and _not_held(baseline_of(session, client.id)):
        outcome = "ask_first"
    _store_screening(session, now, trainer, client, answers, outcome)
    if outcome != "start" and client.state in ("active", "paused"):
        rest_client(session, now, client)
    situation = load(session, client)
    if situation is not None:
        keep_off(
            session,
            now,
            trainer,
            situation,
            no_soft_surface=found.no_soft_surface,
            two_hands=found.two_hands,
        )


@dataclass(frozen=True, slots=True)
class Word:
    """What a clinician said about practising, in whose name, and whether it allows it."""

    clinician: str
    said: str
    allows: bool


def record_clinician(
    session: Session, now: datetime, trainer: Trainer, client: Client, word: Word
) -> None:
    """Keep the clinician's answer with the screening that asked for it."""
    screening = latest_screening(session, client.id)
    if screening is None or screening.outcome != "ask_first":
        raise ImpossibleValue("screening", "", "one that says to ask a clinician first")
    who, said = word.clinician.strip(), word.said.strip()
    if not who or len(who) > LONGEST_NAME:
        raise ImpossibleValue("clinician", who, f"their name, in 1 to {LONGEST_NAME} characters")
    if not said or len(said) > LONGEST_WORDS:
        allowed = f"what they said, in 1 to {LONGEST_WORDS} characters"
        raise ImpossibleValue("clinician_said", said[:40], allowed)
    screening.clinician, screening.clinician_said = who, said
    screening.clinician_allows = word.allows
    screening.recorded_by, screening.recorded_at = trainer.id, now
    session.add(screening)
    record(session, now, trainer, "clinician's word", client_id=client.id, allows=word.allows)


def set_home(
    session: Session,
    now: datetime,
    trainer: Trainer,
    client: Client,
    in_place: frozenset[str],
    someone: str,
) -> None:
    """What is in place at the client's home now."""
    strange = sorted(in_place - set(HOME_NAMES))
    if strange:
        raise ImpossibleValue("home", strange[0], f"among {', '.join(HOME_NAMES)}")
    _store_home(session, now, trainer, client, in_place, someone)
    record(session, now, trainer, "home set-up", client_id=client.id)


def begin_texts(
    session: Session, now: datetime, trainer: Trainer, client: Client, *, agreed: bool
) -> None:
    """Send the first text, if nothing stands against it. `agreed` records consent given now."""
    _refuse_begun(client)
    refuse_uncleared(session, client.id)
    if agreed and client.consent_at is None:
        _agree(session, now, client)
    lacking = standing(session, client).waits_for
    if lacking:
        raise NotReady(lacking[0])
    _begin(session, now, trainer, client)


def _refuse_begun(client: Client) -> None:
    if client.state != "invited":
        raise AlreadyBegun
