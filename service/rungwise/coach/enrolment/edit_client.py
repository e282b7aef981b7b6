"""Changing a client's facts: what would follow from it, and doing what was looked at."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256

from sqlmodel import Session, select

from rungwise.coach.accounts.hand_over import hand_over, receivers
from rungwise.coach.daily.new_phone import NOT_ASKED, change_phone, refuse_taken
from rungwise.coach.daily.schedule import schedule_anew
from rungwise.coach.daily.weekly import schedule_weekly
from rungwise.coach.enrolment.edit_follows import Edit, TextTold, at_hour
from rungwise.coach.enrolment.facts import (
    FACTS,
    Choices,
    Facts,
    LeadsTo,
    changed,
    read_facts,
)
from rungwise.coach.enrolment.intake import latest_home, set_home
from rungwise.coach.enrolment.second_phones import (
    held_phones,
    refuse_phones,
    set_phones,
)
from rungwise.coach.outbox.sender_numbers import number_of, numbers_in_order
from rungwise.coach.outbox.texts import Text, queue_to_client
from rungwise.coach.plan.new_ladder import rebuild
from rungwise.coach.plan.placement import check_version
from rungwise.coach.plan.plan_edit import edit_plan, look_at_plan
from rungwise.coach.plan.usual_pain import set_usual_pain
from rungwise.coach.record.audit import record
from rungwise.coach.record.fields import Unfinished, sentence
from rungwise.coach.record.situation import load
from rungwise.coach.record.wording import text_for
from rungwise.errors import ImpossibleValue, ServiceError
from rungwise.ladder.body import profile_from_stored
from rungwise.ladder.places import Kept
from rungwise.store.tables import Client, Number, Practice, Trainer


class SeenOther(ServiceError):
    """What follows from this is not what was looked at. Look at it again."""


@dataclass(frozen=True, slots=True)
class Follows:
    """What a change means, before anything is stored. `seen` tells whether it was looked at."""

    before: Facts
    after: Facts
    changed: Mapping[str, tuple[str, str]]
    sentences: tuple[str, ...]
    texts: tuple[TextTold, ...]
    kept: Kept | None
    version: int

    @property
    def seen(self) -> str:
        shown = (self.version, sorted(self.changed.items()), self.sentences, self.texts)
        return sha256(repr(shown).encode()).hexdigest()[:32]


def facts_of(session: Session, client: Client) -> Facts:
    """The client's facts as they are stored."""
    practice = session.get_one(Practice, client.practice_id)
    situation = load(session, client)
    home = latest_home(session, client.id)
    return Facts(
        name=client.name,
        called=client.called,
        phone=client.phone,
        second_phones=held_phones(session, client),
        address=client.address or "",
        kin=client.kin_name or "",
        kin_phone=client.kin_phone or "",
        number_to_second=client.number_to_second,
        language=client.language,
        time_zone=client.time_zone,
        trainer=session.get_one(Trainer, client.trainer_id).email,
        sends_from=number_of(session, practice, client).phone,
        someone=(home.someone or "") if home else "",
        home=frozenset(home.in_place) if home else frozenset(),
        prompt_at=situation.settings.prompt_at if situation else None,
        usual_pain=situation.settings.usual_pain if situation else None,
        profile=profile_from_stored(situation.plan_row.profile) if situation else None,
    )


def choices_for(session: Session, client: Client) -> Choices:
    """What this client's facts can be chosen from."""
    practice = session.get_one(Practice, client.practice_id)
    own = session.get_one(Trainer, client.trainer_id)
    situation = load(session, client)
    return Choices(
        country=practice.country,
        trainers={one.email: one.name for one in (own, *receivers(session, own))},
        numbers=tuple(one.phone for one in numbers_in_order(session, practice.id)),
        most_target_s=situation.settings.target_s if situation else 0,
    )


def look_at_edit(
    session: Session, now: datetime, by: Trainer, client: Client, given: Mapping[str, str]
) -> Follows:
    """What follows from putting `given` in place of the facts of those names.

    Unfinished, with a sentence for each field that cannot be used.
    """
    before = facts_of(session, client)
    after, phone = read_facts(given, before, choices_for(session, client))
    differs = changed(before, after)
    _refuse(session, client, after, frozenset(differs))
    edit = Edit(session, now, by, client, before, after, phone)
    kept = edit.kept
    return Follows(
        before,
        after,
        differs,
        tuple(edit.sentences(frozenset(differs))),
        tuple(edit.texts(frozenset(differs))),
        kept,
        client.version,
    )


def _refuse(session: Session, client: Client, after: Facts, differs: frozenset[str]) -> None:
    """Unfinished for what only the rest of the practice, or of the plan, speaks against."""
    checks: Mapping[str, Callable[[], object]] = {
        "phone": lambda: refuse_taken(session, client, after.phone),
        "second_phones": lambda: refuse_phones(session, client, after.second_phones),
        "prompt_at": lambda: _look_at_hour(session, client, after),
    }
    problems = {}
    for name in differs & checks.keys():
        try:
            checks[name]()
        except ImpossibleValue as wrong:
            problems[name] = sentence(wrong)
    if problems:
        raise Unfinished(problems)


def _look_at_hour(session: Session, client: Client, after: Facts) -> None:
    situation = load(session, client)
    if situation is None:
        return
    try:
        look_at_plan(situation, at_hour(situation, after))
    except ImpossibleValue as wrong:
        if wrong.field != "reminder":
            raise
        allowed = f"before the reminder at {wrong.value}, or move that in the plan first"
        raise ImpossibleValue("prompt hour", "", allowed) from None


def edit_client(
    session: Session,
    now: datetime,
    by: Trainer,
    client: Client,
    given: Mapping[str, str],
    *,
    version: int,
    seen: str,
) -> Follows:
    """Store the changed facts in this transaction, with all that follows.

    EditedMeanwhile when somebody changed the client since `version`, SeenOther when what follows
    is not what `seen` stands for.
    """
    check_version(client, version)
    follows = look_at_edit(session, now, by, client, given)
    if follows.seen != seen:
        raise SeenOther
    if follows.changed:
        _store(session, now, by, client, follows)
    return follows


# --- storing --------------------------------------------------------------------------------------


def _store(session: Session, now: datetime, by: Trainer, client: Client, follows: Follows) -> None:
    after, differs = follows.after, follows.changed
    leads = {FACTS[name].leads_to for name in differs}
    if LeadsTo.TRAINER in leads:
        to = session.exec(select(Trainer).where(Trainer.email == after.trainer)).one()
        hand_over(session, now, by, [client], to)
    client.name, client.called = after.name, after.called
    client.language, client.time_zone = after.language, after.time_zone
    client.address = after.address or None
    client.kin_name, client.kin_phone = after.kin or None, after.kin_phone or None
    client.number_to_second = after.number_to_second
    client.version += 1
    session.add(client)
    if LeadsTo.PHONE in leads:
        change_phone(session, now, by, client, after.phone)
    if LeadsTo.NUMBER in leads:
        _send_from(session, now, client, after.sends_from)
    if "second_phones" in differs:
        set_phones(session, now, by, client, after.second_phones)
    if {"home", "someone"} & differs.keys():
        set_home(session, now, by, client, after.home, after.someone)
    _change_plan(session, now, by, client, follows)
    if "time_zone" in differs:
        schedule_anew(session, now, client)
        schedule_weekly(session, now, client)
    record(
        session,
        now,
        by,
        "facts changed",
        client_id=client.id,
        facts=[name for name in differs if FACTS[name].of_person],
        changed={name: list(two) for name, two in differs.items() if not FACTS[name].of_person},
    )
    session.flush()


def _change_plan(
    session: Session, now: datetime, by: Trainer, client: Client, follows: Follows
) -> None:
    """What of the changed facts stands in the plan: the ladder, the hour, the usual pain."""
    situation, after, differs = load(session, client), follows.after, follows.changed
    if situation is None:
        return
    if follows.kept is not None and after.profile is not None:
        rebuild(session, now, by, situation, after.profile)
    if "prompt_at" in differs:
        edit_plan(session, now, by, situation, at_hour(situation, after))
    if differs.keys() & {"usual_pain", "usual_pain_score"}:
        set_usual_pain(session, now, by, situation, after.usual_pain)


def _send_from(session: Session, now: datetime, client: Client, phone: str) -> None:
    practice = session.get_one(Practice, client.practice_id)
    rows = select(Number).where(Number.practice_id == practice.id, Number.phone == phone)
    further = session.exec(rows).first()
    client.number_id = further.id if further is not None else None
    session.add(client)
    if client.state not in NOT_ASKED:
        body = text_for(session, practice, client, "new_number")
        queue_to_client(session, now, practice, client, Text("notice", body, name="new_number"))
