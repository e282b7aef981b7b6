"""The rules of an alert, one by one: opened, grown, paged, repeated, seen; and what a monitor sees.

By direct calls, so that each rule is judged by itself; the conversations are in test_exchange.py.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from itertools import permutations

import pytest
from duty_rows import ALWAYS, put_on_duty
from sqlalchemy import delete
from sqlmodel import Session, select
from stores import empty

from rungwise.coach.alerting.alerts import (
    Raised,
    escalate,
    open_alert,
    raise_alert,
    see,
    words_of,
)
from rungwise.coach.alerting.duty import Duty, on_duty_at, whom_to_page
from rungwise.coach.alerting.incidents import LONGEST_PAGE_WAIT_MINUTES, SEEN_ONLY, page_again
from rungwise.coach.alerting.page_words import page_words
from rungwise.coach.alerting.paging import (
    link,
    note_handed_over,
    page_lost,
    page_trainer,
    pages_of,
    strand,
)
from rungwise.coach.enrolment.clients import NewClient, add_client
from rungwise.coach.monitoring.health import health
from rungwise.concepts.alert_kinds import ALERTS, RESTING_KINDS
from rungwise.concepts.signs import SIGNS
from rungwise.ladder.body import Body, Profile
from rungwise.store import Store
from rungwise.store.due import due_of
from rungwise.store.tables import (
    Alert,
    Audit,
    Client,
    Due,
    Incident,
    LastTick,
    Message,
    Practice,
    Trainer,
    WatchNotice,
    Webhook,
    WebhookCall,
)
from rungwise.wording.texts import alert_words

START = datetime(2026, 3, 2, 13, 0, tzinfo=UTC)  # a Monday, 08:00 in New York
LATER = START + timedelta(minutes=7)
LATEST = START + timedelta(minutes=9)


class Case:
    """One transaction over the world's practice."""

    def __init__(self, session: Session, world) -> None:
        self.session = session
        self.client = session.get_one(Client, world.client_id)
        self.practice = session.get_one(Practice, self.client.practice_id)
        self.trainer = session.get_one(Trainer, world.trainer_id)
        session.exec(select(Message)).all()
        self.ids = 0

    def says(self, body: str, at=START) -> Message:
        self.ids += 1
        message = Message(
            practice_id=self.practice.id,
            client_id=self.client.id,
            direction="in",
            kind="reply",
            body=body,
            from_phone=self.client.phone,
            to_phone=self.practice.phone,
            carrier="handset",
            carrier_id=f"rule-{self.ids}",
            state="read",
            created_at=at,
        )
        self.session.add(message)
        self.session.flush()
        return message

    def raises(self, kind, did="Told.", urgency=None, message=None, at=START, client=None) -> Alert:
        raised = Raised(kind, did, urgency)
        return raise_alert(self.session, at, self.practice, client or self.client, raised, message)

    def pages(self) -> list[Message]:
        rows = select(Message).where(Message.kind == "page").order_by(Message.id)
        return list(self.session.exec(rows).all())

    def hand_over(self, at=START) -> None:
        """A carrier takes every page that waits."""
        for message in self.pages():
            if message.state == "queued":
                message.state, message.sent_at = "sent", at
                note_handed_over(self.session, message)

    def due_in(self, alert: Alert, at) -> float | None:
        """Minutes from `at` until the alert's incident is paged again."""
        due = due_of(self.session, "chain", alert.incident_id or 0)
        return None if due is None else (due.at - at) / timedelta(minutes=1)

    def again(self, at, alert: Alert) -> None:
        """The next step of the chain of pages about this alert."""
        page_again(self.session, at, alert.incident_id or 0)

    def steps(self, alert: Alert) -> int:
        """How many steps the chain of pages about this alert has gone; 0 for none."""
        incident = self.session.get(Incident, alert.incident_id or 0)
        return 0 if incident is None else incident.pages

    def another_client(self) -> Client:
        new = NewClient(
            name="Bo Specimen",
            called="Bo",
            phone="+12025550188",
            profile=Profile(Body(foot_length_mm=246, foot_breadth_mm=93, hip_width_mm=177)),
            time_zone="America/New_York",
            agreed=False,
        )
        return add_client(self.session, START, self.trainer, new)

    def another_trainer(self, name="Omar Other", role="trainer", phone="+12025550177") -> Trainer:
        made = Trainer(
            practice_id=self.practice.id,
            name=name,
            email=f"{name.split()[0].lower()}@example.org",
            password_hash="none",
            role=role,
            phone=phone,
            created_at=START,
        )
        self.session.add(made)
        self.session.flush()
        return made


@pytest.fixture
def store(sqlite_store: Store) -> Iterator[Store]:
    """Rules, not statements: one kind of database is enough here."""
    yield sqlite_store
    empty(sqlite_store)


@pytest.fixture
def case(world) -> Iterator[Case]:
    with world.store.write() as session:
        yield Case(session, world)


# --- opened and grown -----------------------------------------------------------------------------


def test_what_hurts_is_urgent_and_rests_and_what_can_wait_is_not() -> None:
    urgent = {kind for kind, row in ALERTS.items() if row.urgency == "urgent"}
    assert urgent == {"fall", "emergency", "pain", "dizziness", "distress"}
    assert {kind for kind, row in ALERTS.items() if row.urgency == "note"} == {
        *("unsafe", "request", "unread", "retest_due"),
    }
    assert urgent < RESTING_KINDS == urgent | {"away", "near_fall", "health_news"}


@pytest.mark.parametrize("kind", ALERTS)
def test_an_alert_opens_with_its_kinds_urgency(case: Case, kind: str) -> None:
    alert = case.raises(kind, "The client told of it.")
    assert (alert.kind, alert.urgency, alert.state) == (kind, ALERTS[kind].urgency, "new")
    assert (alert.opened_at, alert.last_at, alert.system_did) == (
        START,
        START,
        "The client told of it.",
    )
    assert (alert.client_id, alert.practice_id) == (case.client.id, case.practice.id)
    assert bool(case.pages()) == (ALERTS[kind].urgency == "urgent")


def test_the_urgency_that_is_given_counts_before_the_kinds_own(case: Case) -> None:
    assert case.raises("pain", urgency="today").urgency == "today"
    assert case.raises("silence", urgency="urgent").urgency == "urgent"
    assert len(case.pages()) == 1


def test_there_is_one_open_alert_of_a_client_and_kind(case: Case) -> None:
    first = case.raises("silence")
    again = case.raises("silence", at=LATER)
    assert again is first
    assert (first.opened_at, first.last_at) == (START, LATER)
    assert case.raises("stuck") is not first
    other = case.another_client()
    assert case.raises("silence", client=other) is not first
    assert open_alert(case.session, case.client.id, "silence") is first
    assert open_alert(case.session, other.id, "stuck") is None
    first.state = "handled"
    case.session.flush()
    assert open_alert(case.session, case.client.id, "silence") is None
    assert case.raises("silence") is not first


def test_an_urgency_only_gets_worse(case: Case) -> None:
    alert = case.raises("silence", urgency="note")
    for given, holds in (
        ("today", "today"),
        ("note", "today"),
        ("urgent", "urgent"),
        ("today", "urgent"),
    ):
        case.raises("silence", urgency=given)
        assert alert.urgency == holds


def test_what_the_service_did_is_added_once(case: Case) -> None:
    alert = case.raises("silence", "One.")
    for did in ("Two.", "One.", "Two.", "One. Two."):
        case.raises("silence", did)
    assert alert.system_did == "One.\nTwo.\nOne. Two."


def test_every_word_is_kept_once_and_in_order(case: Case) -> None:
    first, second = case.says("I fell"), case.says("my hip hurts")
    alert = case.raises("fall", message=first)
    case.raises("fall", message=second)
    case.raises("fall", message=first)
    case.raises("stuck", message=case.says("about something else"))
    assert [message.body for message in words_of(case.session, alert.id)] == [
        "I fell",
        "my hip hurts",
    ]


def test_new_words_make_a_seen_alert_new_again_and_nothing_else_does(case: Case) -> None:
    alert = case.raises("fall", message=case.says("I fell"))
    see(case.session, START, case.trainer, alert)
    case.raises("fall")
    assert alert.state == "seen"
    case.raises("fall", message=case.says("again"))
    assert alert.state == "new"


def test_other_programs_are_told_once_of_what_is_new(case: Case) -> None:
    """Opened, grown by words or by urgency; not when only the same is raised again."""
    hook = Webhook(
        practice_id=case.practice.id,
        address="https://hook.example.org/",
        secret="s" * 32,
        made_by=case.trainer.id,
        made_at=START,
    )
    case.session.add(hook)
    case.session.flush()
    alert = case.raises("silence", urgency="note")
    case.raises("silence", urgency="note")
    case.raises("silence", urgency="today")
    case.raises("silence", message=case.says("hello"))
    calls = case.session.exec(select(WebhookCall).order_by(WebhookCall.id)).all()
    assert [(call.kind, call.alert_id) for call in calls] == [
        ("alert.opened", alert.id),
        ("alert.grew", alert.id),
        ("alert.grew", alert.id),
    ]


# --- paged ----------------------------------------------------------------------------------------


def test_an_urgent_alert_pages_at_once_and_sets_the_next(case: Case) -> None:
    alert = case.raises("fall")
    (page_sent,) = case.pages()
    assert (page_sent.to_phone, page_sent.trainer_id) == (case.trainer.phone, case.trainer.id)
    assert "Ada" in page_sent.body
    assert (alert.paged_at, case.steps(alert)) == (None, 1), "it has not left yet"
    case.hand_over(LATER)
    assert alert.paged_at == LATER
    assert case.due_in(alert, START) == case.practice.escalate_minutes == 10
    assert [each.id for each in pages_of(case.session, alert.id)] == [page_sent.id]


def test_only_what_is_new_pages_again(case: Case) -> None:
    alert = case.raises("fall")
    case.raises("fall", at=LATER)
    assert len(case.pages()) == 1
    assert case.steps(alert) == 1
    case.hand_over()
    case.raises("fall", message=case.says("it hurts"), at=LATER)
    assert len(case.pages()) == 2
    quiet = case.raises("silence", message=case.says("hm"))
    assert (case.steps(quiet), quiet.paged_at) == (0, None)
    assert case.due_in(quiet, START) is None


def test_an_alert_that_becomes_urgent_pages(case: Case) -> None:
    alert = case.raises("pain", urgency="today")
    assert case.steps(alert) == 0
    case.raises("pain", urgency="urgent", at=LATER)
    assert len(case.pages()) == case.steps(alert) == 1


def test_a_page_is_repeated_after_twice_as_long_and_at_most_four_hours(case: Case) -> None:
    alert = case.raises("fall")
    now, waits = START, []
    for _ in range(8):
        waits.append(case.due_in(alert, now))
        now += timedelta(minutes=waits[-1])
        case.hand_over(now)
        case.again(now, alert)
        assert alert.paged_at == START + timedelta(minutes=10), "a repeat changes no history"
    assert waits == [10, 20, 40, 80, 160, 240, 240, 240]
    assert LONGEST_PAGE_WAIT_MINUTES == 240
    assert case.steps(alert) == 9


def test_a_repeat_tells_the_second_contact_first_and_says_so_to_the_trainer(case: Case) -> None:
    alert = case.raises("fall")
    case.again(LATER, alert)
    first, second, again = case.pages()
    assert second.to_phone == case.trainer.second_contact_phone
    assert again.to_phone == first.to_phone == case.trainer.phone
    for words in ("Ada", "Tess Example"):
        assert words in second.body
    assert again.body != first.body
    assert {each.id for each in pages_of(case.session, alert.id)} == {
        first.id,
        second.id,
        again.id,
    }


def test_without_a_second_contact_only_the_trainer_is_paged_again(case: Case) -> None:
    case.trainer.second_contact_phone = None
    alert = case.raises("fall")
    case.again(LATER, alert)
    assert [each.to_phone for each in case.pages()] == [case.trainer.phone] * 2


@pytest.mark.parametrize("second", [None, "+12025550102"])
def test_the_leads_stand_in_for_a_second_contact_that_is_not_named(case: Case, second) -> None:
    lead = case.another_trainer("Lena Lead", "lead")
    case.trainer.second_contact_phone = second
    alert = case.raises("fall")
    case.again(LATER, alert)
    paged = {each.to_phone for each in case.pages()}
    assert (lead.phone in paged) is (second is None)


@pytest.mark.parametrize(
    "change",
    [
        {"state": "handled"},
        {"urgency": "today"},
    ],
)
def test_what_was_handled_or_is_not_urgent_is_not_repeated(case: Case, change: dict) -> None:
    alert = case.raises("fall")
    for name, value in change.items():
        setattr(alert, name, value)
    case.session.flush()
    case.again(LATER, alert)
    assert len(case.pages()) == 1
    assert case.steps(alert) == 1


def test_what_was_opened_and_not_handled_is_paged_again_and_then_as_a_new_one(case: Case) -> None:
    alert = case.raises("fall")
    case.hand_over()
    see(case.session, START, case.trainer, alert)
    assert case.due_in(alert, START) == 30
    at = START + timedelta(minutes=30)
    case.again(at, alert)
    assert [each.to_phone for each in case.pages()] == [case.trainer.phone] * 2
    assert (alert.state, case.due_in(alert, at)) == ("new", 10)
    assert alert.system_did.splitlines()[-1] == SEEN_ONLY
    case.hand_over(at)
    case.again(at + timedelta(minutes=10), alert)
    assert case.pages()[2].to_phone == case.trainer.second_contact_phone


def test_an_alert_that_is_gone_is_not_repeated(case: Case) -> None:
    escalate(case.session, LATER, 999_999)
    page_again(case.session, LATER, 999_999)
    assert case.pages() == []


def test_what_an_earlier_version_set_by_alert_goes_on_as_one_chain(case: Case) -> None:
    """Two alerts of one client, each with its own repeat, as such a version left them."""
    fall, pain = case.raises("fall"), case.raises("pain")
    case.session.exec(delete(Due).where(Due.kind == "chain"))
    for alert in (fall, pain):
        alert.incident_id, alert.pages = None, 1
    case.session.flush()
    for alert in (fall, pain):
        escalate(case.session, LATER, alert.id)
    assert fall.incident_id == pain.incident_id
    assert [each.created_at for each in case.pages()] == [START, LATER, LATER]
    assert case.due_in(fall, LATER) == 20


def test_two_urgent_alerts_of_one_instant_are_one_page_that_counts_for_both(case: Case) -> None:
    fall = case.raises("fall")
    pain = case.raises("pain")
    (only,) = case.pages()
    assert case.steps(pain) == 1
    assert case.due_in(pain, START) == 10
    for alert in (fall, pain):
        assert [each.id for each in pages_of(case.session, alert.id)] == [only.id]
    case.hand_over()
    assert fall.paged_at == pain.paged_at == START
    # Repeated together: one page to the second contact and one to the trainer.
    case.again(LATER, pain)
    assert len(case.pages()) == 3
    assert {each.id for each in pages_of(case.session, pain.id)} == {
        only.id,
        case.pages()[2].id,
        case.pages()[1].id,
    }


@pytest.mark.parametrize("other", ["another client", "another instant", "seen", "not urgent"])
def test_pages_are_spared_for_nothing_else(case: Case, other: str) -> None:
    client = case.another_client() if other == "another client" else case.client
    first = case.raises("fall", client=client)
    if other == "seen":
        see(case.session, START, case.trainer, first)
    if other == "not urgent":
        first.urgency = "today"
        case.session.flush()
    case.hand_over()
    at = LATER if other == "another instant" else START
    pain = case.raises("pain", at=at)
    assert len(case.pages()) == 2
    assert [each.id for each in pages_of(case.session, pain.id)] == [case.pages()[1].id]


def test_who_cannot_be_paged_leaves_the_alert_unpaged_and_it_is_tried_again(case: Case) -> None:
    case.practice.is_demo = True  # no e-mail leaves a demo
    case.trainer.phone = None
    alert = case.raises("fall")
    assert (alert.paged_at, case.steps(alert)) == (None, 1)
    assert case.due_in(alert, START) == 10


# --- seen -----------------------------------------------------------------------------------------


def test_who_sees_it_first_is_kept_with_the_time_and_on_record(case: Case) -> None:
    other = case.another_trainer()
    alert = case.raises("fall")
    see(case.session, LATER, case.trainer, alert)
    see(case.session, LATEST, other, alert)
    assert (alert.state, alert.seen_at, alert.seen_by) == ("seen", LATER, case.trainer.id)
    lines = case.session.exec(select(Audit).where(Audit.action == "alert seen")).all()
    assert [(line.trainer_id, line.client_id, line.detail) for line in lines] == [
        (case.trainer.id, case.client.id, {"alert": alert.id}),
    ]


def test_a_handled_alert_is_not_seen_again(case: Case) -> None:
    alert = case.raises("fall")
    alert.state = "handled"
    see(case.session, LATER, case.trainer, alert)
    assert (alert.state, alert.seen_at) == ("handled", None)


# --- by which way ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("page_by", "phone", "demo", "ways"),
    [
        ("text", "+12025550101", False, ["text"]),
        ("email", "+12025550101", False, ["email"]),
        ("both", "+12025550101", False, ["text", "email"]),
        ("text", None, False, ["email"]),
        ("both", None, False, ["email"]),
        ("email", None, True, []),
        ("both", "+12025550101", True, ["text"]),
        ("text", "+12025550101", True, ["text"]),
    ],
)
def test_a_trainer_is_paged_the_way_they_wish_or_the_way_there_is(
    case: Case, page_by: str, phone: str | None, demo: bool, ways: list[str]
) -> None:
    case.trainer.page_by, case.trainer.phone, case.practice.is_demo = page_by, phone, demo
    alert = case.raises("silence")
    sent = page_trainer(case.session, START, case.practice, case.trainer, [alert])
    assert ["email" if each.carrier == "email" else "text" for each in sent] == ways
    for each in sent:
        by_mail = each.carrier == "email"
        assert each.to_phone == (case.trainer.email if by_mail else phone)
        assert ("Ada" in each.body) is not by_mail, "an e-mail names nobody"


def test_a_page_says_when_it_is_a_repeat(case: Case) -> None:
    alert = case.raises("fall")
    first = page_words(case.session, LATER, case.practice, [alert])
    case.again(LATER, alert)
    again = page_words(case.session, LATER, case.practice, [alert])
    assert first.text != again.text
    assert first.email != again.email


def test_a_page_is_linked_once(case: Case) -> None:
    alert = case.raises("fall")
    (sent,) = case.pages()
    link(case.session, alert, [sent.id, sent.id])
    assert [each.id for each in pages_of(case.session, alert.id)] == [sent.id]


def lost(case: Case, message: Message, state: str = "failed") -> list[Message]:
    """What is sent instead of a page that is lost."""
    before = {each.id for each in case.pages()}
    message.state = state
    case.session.flush()
    page_lost(case.session, LATER, message)
    return [each for each in case.pages() if each.id not in before]


def test_a_lost_text_goes_by_mail_once_and_then_to_the_second_contact(case: Case) -> None:
    alert = case.raises("fall")
    (sent,) = case.pages()
    case.hand_over()
    (instead,) = lost(case, sent)
    assert (instead.carrier, instead.to_phone) == ("email", case.trainer.email)
    assert "Ada" not in instead.body
    assert alert.paged_at is None, "what was handed over failed after all"
    assert len(pages_of(case.session, alert.id)) == 2
    (second,) = lost(case, instead)
    assert second.to_phone == case.trainer.second_contact_phone
    assert lost(case, second) == []
    assert lost(case, instead) == []


@pytest.mark.parametrize("kinds", list(permutations(["pain", "emergency", "fall", "near_fall"], 3)))
def test_a_page_the_other_way_names_the_gravest_of_its_alerts(case: Case, kinds) -> None:
    """Whichever was opened first: in what order the rows come is chance."""
    for kind in kinds:
        case.raises(kind, urgency="urgent")
    (sent,) = case.pages()
    (instead,) = lost(case, sent)
    gravest = next(kind for kind in ("emergency", "fall", "pain", "near_fall") if kind in kinds)
    told = alert_words(gravest, "en")
    assert instead.body == f"URGENT: a client {told}. Please open the alert inbox now."


def test_a_page_and_the_clients_answer_call_the_same_sign_the_gravest() -> None:
    answered = tuple(dict.fromkeys(row.alert for row in SIGNS.values()))
    assert answered == tuple(kind for kind in ALERTS if kind in answered)


def test_a_lost_mail_goes_by_text(case: Case) -> None:
    case.trainer.page_by = "email"
    alert = case.raises("fall")
    (sent,) = case.pages()
    (instead,) = lost(case, sent)
    assert (instead.carrier != "email", instead.to_phone) == (True, case.trainer.phone)
    assert "Ada" in instead.body
    assert [each.id for each in pages_of(case.session, alert.id)] == [sent.id, instead.id]


def test_a_lost_mail_of_who_has_no_phone_leaves_the_alert_unpaged(case: Case) -> None:
    case.trainer.phone = case.trainer.second_contact_phone = None
    alert = case.raises("fall")
    (sent,) = case.pages()
    assert lost(case, sent) == []
    assert alert.paged_at is None


@pytest.mark.parametrize("why", ["both ways", "a demo", "the second contact"])
def test_no_other_way_is_tried_where_there_is_none(case: Case, why: str) -> None:
    case.trainer.page_by = "both" if why == "both ways" else "text"
    if why != "the second contact":
        case.trainer.second_contact_phone = None
    alert = case.raises("fall")
    sent = case.pages()[0]
    if why == "a demo":
        case.practice.is_demo = True
    if why == "the second contact":
        case.again(LATER, alert)
        (sent,) = [each for each in case.pages() if each.to_phone.endswith("0102")]
    assert lost(case, sent) == []


@pytest.mark.parametrize(
    ("state", "paged"),
    [
        ("queued", False),
        ("sending", False),
        ("sent", True),
        ("delivered", True),
        ("unknown", False),
        ("failed", False),
        ("cancelled", False),
    ],
)
def test_an_alert_is_paged_once_a_carrier_has_a_page(case: Case, state: str, paged: bool) -> None:
    case.trainer.page_by = "both"
    alert = case.raises("fall")
    text, mail = case.pages()
    mail.state, mail.sent_at = state, LATEST
    lost(case, text)
    assert (alert.paged_at == LATEST) is paged


def test_a_lost_page_of_a_seen_alert_sets_off_nothing(case: Case) -> None:
    alert = case.raises("fall")
    case.hand_over()
    see(case.session, START, case.trainer, alert)
    assert lost(case, case.pages()[0]) == []


def test_a_waiting_page_is_taken_back_once_the_alert_is_opened(case: Case) -> None:
    alert = case.raises("fall")
    (sent,) = case.pages()
    see(case.session, LATER, case.trainer, alert)
    assert sent.state == "cancelled"


def test_one_person_gets_one_page_that_says_how_many_clients(case: Case) -> None:
    fall = case.raises("fall")
    pain = case.raises("pain", client=case.another_client(), at=LATER)
    first, both = case.pages()
    assert (first.state, both.state) == ("cancelled", "queued")
    assert both.body == "URGENT: 2 clients need you. Please open the alert inbox now."
    assert both.id in {each.id for each in pages_of(case.session, fall.id)}
    # Of who has been seen to, it tells no more.
    see(case.session, LATEST, case.trainer, fall)
    assert both.state == "queued"
    assert "Bo reports pain" in both.body
    see(case.session, LATEST, case.trainer, pain)
    assert both.state == "cancelled"


def test_what_may_have_arrived_comes_no_sooner_for_being_repeated_but_for_news(case: Case) -> None:
    alert = case.raises("fall")
    (first,) = case.pages()
    later = LATER + timedelta(minutes=30)
    first.maybe_taken, first.not_before = 2, later
    case.session.flush()
    case.again(LATER, alert)
    again = case.pages()[-1]
    assert (again.maybe_taken, again.not_before) == (2, later)
    case.raises("pain", at=LATEST)
    news = case.pages()[-1]
    assert (news.maybe_taken, news.not_before) == (0, LATEST)


def test_without_a_mail_server_what_should_leave_by_mail_fails_at_once(case: Case, caplog) -> None:
    case.trainer.page_by = "email"
    alert = case.raises("fall")
    (mail,) = case.pages()
    quiet = case.says("waiting by text")
    quiet.direction, quiet.state, quiet.carrier = "out", "queued", "handset"
    case.session.flush()
    assert strand(case.session, LATER) == 1
    assert (mail.state, mail.settled_at) == ("failed", LATER)
    assert mail.problem == "No mail server is set up."
    instead = case.pages()[-1]
    assert (instead.to_phone, instead.state) == (case.trainer.phone, "queued")
    assert [each.id for each in pages_of(case.session, alert.id)] == [mail.id, instead.id]
    assert quiet.state == "queued"
    assert strand(case.session, LATER) == 0
    assert f"page {mail.id} is failed" in caplog.text, "whoever runs it reads why"


# --- on duty --------------------------------------------------------------------------------------

NEW_YORK = "America/New_York"


@pytest.mark.parametrize(
    ("weekday", "begins", "ends", "minutes", "on"),
    [
        (0, "08:00", "09:00", 0, True),
        (0, "08:00", "09:00", 59, True),
        (0, "08:00", "09:00", 60, False),
        (0, "08:01", "09:00", 0, False),
        (1, "08:00", "09:00", 0, False),
        (6, "08:00", "09:00", 0, False),
        (0, "08:00", "23:59", 15 * 60 + 59, True),
        (0, "08:00", "23:58", 15 * 60 + 58, False),
    ],
)
def test_hours_are_the_practices_own_from_their_begin_to_before_their_end(
    weekday: int, begins: str, ends: str, minutes: int, on: bool
) -> None:
    plan = [Duty(practice_id=1, trainer_id=5, weekday=weekday, begins=begins, ends=ends)]
    at = START + timedelta(minutes=minutes)
    assert on_duty_at(plan, at, NEW_YORK) == ({5} if on else set())


def whom(case: Case) -> list[int]:
    found = whom_to_page(case.session, START, case.practice, case.client)
    return [trainer.id for trainer in found]


NEVER_NOW = [(3, "08:00", "09:00")]


def test_the_clients_trainer_comes_before_others_on_duty(case: Case) -> None:
    other = case.another_trainer()
    for trainer in (case.trainer, other):
        put_on_duty(case.session, trainer, ALWAYS)
    assert whom(case) == [case.trainer.id]
    case.trainer.active = False
    case.session.flush()
    assert whom(case) == [other.id]


def test_everybody_on_duty_is_paged_in_a_fixed_order(case: Case) -> None:
    others = [case.another_trainer("Omar Other"), case.another_trainer("Nia Next")]
    for trainer in reversed(others):
        put_on_duty(case.session, trainer, ALWAYS)
    assert whom(case) == [trainer.id for trainer in others]


def test_when_nobody_is_on_duty_the_leads_are_paged_too_and_never_nobody(case: Case) -> None:
    lead = case.another_trainer("Lena Lead", "lead")
    gone = case.another_trainer("Gone Lead", "lead")
    gone.active = False
    put_on_duty(case.session, lead, NEVER_NOW)
    assert whom(case) == [case.trainer.id, lead.id]
    case.trainer.active = False
    case.session.flush()
    assert whom(case) == [lead.id]
    lead.active = False
    case.session.flush()
    assert whom(case) == [case.trainer.id], "an urgent alert must reach somebody"


def test_without_a_plan_a_trainer_who_left_is_stood_in_for_by_the_leads(case: Case) -> None:
    lead = case.another_trainer("Lena Lead", "lead")
    assert whom(case) == [case.trainer.id]
    case.trainer.active = False
    case.session.flush()
    assert whom(case) == [lead.id]


# --- what a monitor sees --------------------------------------------------------------------------


@contextmanager
def quiet(case: Case) -> Iterator[None]:
    """Nothing waits, and the ticks have just run."""
    for row in (*case.session.exec(select(Due)).all(), *case.session.exec(select(Message)).all()):
        case.session.delete(row)
    case.session.add(LastTick(name="due", at=START))
    case.session.add(LastTick(name="send", at=START + timedelta(seconds=30)))
    case.session.flush()
    yield


def look(case: Case, after_s: float = 0, *, real_s: float = 0, ticks: bool = True):
    now = START + timedelta(seconds=after_s)
    return health(case.session, now, START + timedelta(seconds=real_s), ticks=ticks)


def test_all_is_well_when_nothing_waits_and_the_ticks_run(case: Case) -> None:
    with quiet(case):
        found = look(case)
        assert found.well
        assert (found.problems, found.ticks_age_s) == ((), 0)
        assert (found.oldest_queued_s, found.oldest_due_s) == (0, 0)
        assert (found.urgent_unseen, found.urgent_unpaged) == (0, 0)


@pytest.mark.parametrize(("real_s", "well"), [(60, True), (61, False), (-5, True)])
def test_ticks_are_late_after_a_minute_by_the_one_furthest_behind(
    case: Case, real_s: float, well: bool
) -> None:
    with quiet(case):
        found = look(case, real_s=real_s)
        assert (found.well, found.ticks_age_s) == (well, real_s)
        assert look(case, real_s=real_s, ticks=False).well
        if not well:
            assert found.problems == (
                "The ticks have stopped: no text leaves and nothing due is acted on.",
            )


def test_ticks_that_never_ran_have_stopped(case: Case) -> None:
    with quiet(case):
        for row in case.session.exec(select(LastTick)).all():
            case.session.delete(row)
        case.session.flush()
        found = look(case)
        assert found.ticks_age_s is None
        assert not found.well
        assert look(case, ticks=False).well


@pytest.mark.parametrize(("after_s", "well"), [(300, True), (301, False)])
def test_texts_and_dues_are_late_after_five_minutes(case: Case, after_s: float, well: bool) -> None:
    with quiet(case):
        text = case.says("waiting")
        text.direction, text.state, text.not_before = "out", "queued", START
        case.session.add(Due(kind="prompt", subject_id=1, at=START))
        case.session.flush()
        found = look(case, after_s)
        assert (found.oldest_queued_s, found.oldest_due_s) == (after_s, after_s)
        assert found.problems == (
            ()
            if well
            else (
                "Texts wait in the outbox and do not leave. Look at the carrier.",
                "Things that are due are not acted on. Look at the log.",
            )
        )
        # What is for later is not late.
        assert look(case, -400).oldest_due_s == 0
        text.state = "sent"
        case.session.flush()
        assert look(case, after_s).oldest_queued_s == 0


def test_urgent_alerts_that_nobody_saw_or_could_be_told_of_are_counted(case: Case) -> None:
    with quiet(case):
        fall, pain, today = (
            case.raises("fall"),
            case.raises("pain", at=LATER, client=case.another_client()),
            case.raises("silence"),
        )
        assert today.state == "new"
        fall.paged_at = LATER
        case.session.flush()
        found = look(case)
        assert (found.urgent_unseen, found.urgent_unpaged) == (2, 1)
        assert found.problems[-1] == "Urgent alerts of which no page was handed over yet: 1."
        pain.paged_at = LATER
        see(case.session, START, case.trainer, fall)
        case.session.flush()
        assert (look(case).urgent_unseen, look(case).urgent_unpaged) == (1, 0)


def test_what_the_lead_was_told_of_is_a_problem_too_but_the_ticks_only_by_themselves(
    case: Case,
) -> None:
    with quiet(case):
        for what in ("ticks", "kannel"):
            case.session.add(
                WatchNotice(practice_id=case.practice.id, what=what, since=START, told_at=START)
            )
        case.session.flush()
        assert look(case).problems == (
            "Nothing leaves by kannel. The practice lead is told another way.",
        )


def test_it_is_not_said_that_the_lead_is_told_while_no_way_works(case: Case) -> None:
    elsewhere = Practice(name="Elsewhere", phone="+12025550777", created_at=START)
    case.session.add(elsewhere)
    case.session.flush()
    with quiet(case):
        for practice, told_at in ((case.practice, START), (elsewhere, None)):
            case.session.add(
                WatchNotice(practice_id=practice.id, what="kannel", since=START, told_at=told_at)
            )
        case.session.flush()
        assert look(case).problems == (
            "Nothing leaves by kannel. The practice lead could not be told.",
        )
