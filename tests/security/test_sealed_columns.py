"""Every column that can hold words is sealed, or is listed here with a reason."""

import pytest
from sqlalchemy import JSON, Column, String, TypeDecorator
from sqlmodel import SQLModel

from rungwise.store.sealing.crypto import Findable, Sealed, SealedJSON
from rungwise.store.tables import UtcDateTime

CODE = "one of a fixed set of words of ours"
RUNG = "the key of a rung"
FIGURES = "figures and words of ours; names and quotes nobody"
TIMES = "hours, dates, zones, languages"
SECRET = "a hash, or a random token"
OURS = "names a part of the installation, not a person"
CLEAR = {
    "account_link.kind": CODE,
    "account_link.role": CODE,
    "account_link.token_hash": SECRET,
    "alert.kind": CODE,
    "alert.resume_key": RUNG,
    "alert.state": CODE,
    "alert.urgency": CODE,
    "api_act.key_hash": SECRET,
    "api_act.request_hash": SECRET,
    "api_token.scopes": CODE,
    "api_token.token_hash": SECRET,
    "audit.action": CODE,
    "audit.detail": "codes, ids and counts; what callers may put there is tested by bytes below",
    "audit.detail_hash": SECRET,
    "audit.hash": SECRET,
    "audit.key": "a key's name, not the key",
    "audit_head.hash": SECRET,
    "audit_head.key": "a key's name, not the key",
    "audit_head.mac": SECRET,
    "baseline.because": FIGURES,
    "baseline.held_s": FIGURES,
    "baseline.suggested_key": RUNG,
    "carrier_state.name": OURS,
    "change.kind": CODE,
    "change.what": CODE,
    "circuit.carrier": OURS,
    "circuit.failing": "ids of texts",
    "client.language": TIMES,
    "clinician_word.by": CODE,
    "incident.code": "two digits, in pages",
    "incident.link": "a random token; the page behind it wants a sign-in",
    "client.state": CODE,
    "client.stopped_from": CODE,
    "client.time_zone": TIMES,
    "day_seal.rows_hash": "keyed hashes of what is stored elsewhere",
    "day_seal.words_hash": "keyed hashes of what is stored elsewhere",
    "due.kind": CODE,
    "duty.begins": TIMES,
    "duty.ends": TIMES,
    "early_receipt.carrier": OURS,
    "early_receipt.carrier_id": "the carrier's own number of a text",
    "early_receipt.state": CODE,
    "fall.care": CODE,
    "compared_client.arm": CODE,
    "comparison.first": CODE,
    "comparison.outcome": CODE,
    "comparison.second": CODE,
    "course_line.rule": CODE,
    "course_line.says": FIGURES,
    "clinician_review.version": "a hash of our texts and tables",
    "fall.doing": CODE,
    "fall.head_struck": CODE,
    "fall.injury": CODE,
    "fall.new_signs": CODE,
    "fall.on_floor": CODE,
    "fall.place": CODE,
    "fall.stands_as_before": CODE,
    "group_act.kind": CODE,
    "group_act.once": "drawn by chance",
    "group_act_client.before": FIGURES,
    "group_act_client.state": CODE,
    "group_act_client.why": "our own words",
    "home_setup.in_place": CODE,
    "home_visit.begins": TIMES,
    "inbound_part.carrier": OURS,
    "inbound_part.carrier_id": "the carrier's own number of a text",
    "last_tick.name": OURS,
    "message.carrier": OURS,
    "message.carrier_id": "the carrier's own number of a text",
    "message.context": FIGURES,
    "message.direction": CODE,
    "message.kind": CODE,
    "message.name": "the name of one of our texts",
    "message.once_key": "ids and dates; a stranger's number only as a keyed hash",
    "message.reading": "what a text was read as: codes, figures and places of words, not the words",
    "message.rung_key": RUNG,
    "message.state": CODE,
    "move.alerts": CODE,
    "move.facts": FIGURES,
    "move.from_key": RUNG,
    "move.kind": CODE,
    "move.rule": CODE,
    "move.to_key": RUNG,
    "number.carrier": OURS,
    "organisation_sign_in.issuer": "an organisation's address, as the settings have it",
    "own_wording.language": TIMES,
    "own_wording.name": CODE,
    "passkey.credential_id": "a number drawn by a device",
    "passkey.public_key": "the half of a key that anybody may see",
    "passkey_challenge.challenge_hash": SECRET,
    "passkey_challenge.holder_hash": SECRET,
    "picture_link.rung_key": RUNG,
    "picture_link.token_hash": SECRET,
    "placement.rung_key": RUNG,
    "plan.profile": FIGURES,
    "plan.settings": FIGURES,
    "practice.carrier": OURS,
    "practice.country": TIMES,
    "practice.crisis_line": "a public number",
    "practice.emergency_number": "everybody's",
    "practice.language": TIMES,
    "practice.picture_address": OURS,
    "practice.lengths": CODE,
    "practice.segment_price": "an amount of money",
    "practice.texts_from": TIMES,
    "practice.texts_until": TIMES,
    "practice.time_zone": TIMES,
    "question.answer": "one of a fixed set of words of ours, or a date",
    "question.kind": CODE,
    "recovery_code.code_hash": SECRET,
    "report.message_ids": FIGURES,
    "report.rung_key": RUNG,
    "report.told": FIGURES,
    "retest.kind": CODE,
    "retest.measured": FIGURES,
    "retest.score": FIGURES,
    "retest.sex": CODE,
    "screening.outcome": CODE,
    "sealing.audit_keys": "themselves sealed with a key from the environment",
    "sealing.key_ids": "names of keys, not the keys",
    "sealing.numbers_key": "itself sealed with a key from the environment",
    "sign_in.browser": "a browser's and a system's name",
    "sign_in.csrf": SECRET,
    "sign_in.token_hash": SECRET,
    "sign_in_failure.subject": "an account or a network address, as a keyed hash",
    "stranger.sign": CODE,
    "trainer.page_by": CODE,
    "trainer.page_test_code": "two digits, in a test page",
    "trainer.password_hash": SECRET,
    "trainer.role": CODE,
    "trainer_feed.calendar_hash": SECRET,
    "watch_notice.what": OURS,
    "webhook.topics": CODE,
    "webhook.why_ended": CODE,
    "webhook_call.body": "kinds, ids and times of alerts; no words and no name",
    "webhook_call.called": "drawn by chance",
    "webhook_call.kind": CODE,
    "webhook_call.problem": "our own words and a status",
    "webhook_call.state": CODE,
}


def columns() -> dict[str, Column]:
    """Every column that can hold words, by table and name."""
    return {
        f"{table.name}.{column.name}": column
        for table in SQLModel.metadata.sorted_tables
        for column in table.columns
        if isinstance(column.type, String | JSON | TypeDecorator)
        and not isinstance(column.type, UtcDateTime)
    }


def test_every_column_that_can_hold_words_is_sealed_or_listed_with_a_reason() -> None:
    clear = {
        name
        for name, column in columns().items()
        if not isinstance(column.type, Sealed | SealedJSON)
    }
    assert sorted(clear - CLEAR.keys()) == [], "seal these columns, or say here why not"
    assert sorted(CLEAR.keys() - clear) == [], "these are sealed or gone"


@pytest.mark.parametrize("name", ["client.phone", "practice.phone", "trainer.email"])
def test_what_people_are_looked_up_by_is_found_by_its_keyed_hash(name: str) -> None:
    assert isinstance(columns()[name].type, Findable)


def test_every_unique_or_indexed_sealed_column_can_be_found() -> None:
    for table in SQLModel.metadata.sorted_tables:
        keyed = {column for index in table.indexes for column in index.columns}
        keyed |= {
            column
            for constraint in table.constraints
            if type(constraint).__name__ in ("UniqueConstraint", "PrimaryKeyConstraint")
            for column in constraint.columns
        }
        for column in keyed:
            if isinstance(column.type, Sealed | SealedJSON):
                assert isinstance(column.type, Findable), f"{table.name}.{column.name}"
