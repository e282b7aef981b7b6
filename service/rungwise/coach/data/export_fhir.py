"""A client in HL7 FHIR R4 (4.0.1): one Patient, an Observation a day and retest, one CarePlan.

Only what FHIR has a place for. Codes are plain text where we know of no standard code; the units
are UCUM. Ids are the same in every export of a database, so that a second one replaces the first.
"""

import json
from collections.abc import Iterator, Sequence
from datetime import date, datetime
from typing import IO, Any
from uuid import UUID, uuid5

from sqlmodel import Session, col, select

from rungwise.coach.data.export_rows import whole_past
from rungwise.coach.record.progress import DayHeld, day_held
from rungwise.coach.record.situation import Situation, load
from rungwise.coach.reviews.retests import results_of
from rungwise.evidence import FourStage, kind_of, score_to_json
from rungwise.ladder.day import DayReport
from rungwise.store.tables import Baseline, Client, Practice, Trainer
from rungwise.wording.rung_words import rung_sentence

Resource = dict[str, Any]

NAMESPACE = UUID("6f1a8a50-7a0e-4a83-9d0e-2f8f4b1c7d11")
CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"
UCUM = "http://unitsofmeasure.org"
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
PLAN_STATUS = {
    "invited": "draft",
    "active": "active",
    "resting": "on-hold",
    "paused": "on-hold",
    "stopped": "revoked",
}
SIDE_WORDS = {
    "left": "Left foot in front, or standing on the left foot",
    "right": "Right foot in front, or standing on the right foot",
    "both": "Both feet alike",
}
SIGNS = (
    ("fall", "Fall told by text"),
    ("pain", "Pain told by text"),
    ("dizzy", "Dizziness told by text"),
)
TOLD_BY_TEXT = "Told by the client in a text message; not measured."


def write_bundle(
    session: Session, out: IO[bytes], now: datetime, practice: Practice, ids: Sequence[int]
) -> None:
    """A Bundle of type collection with everybody's resources; written client by client."""
    head = {"resourceType": "Bundle", "type": "collection", "timestamp": now.isoformat()}
    out.write(json.dumps(head)[:-1].encode() + b', "entry": [')
    first = True
    for client_id in ids:
        for resource in resources_of(session, practice, client_id):
            entry = {"fullUrl": f"urn:uuid:{resource['id']}", "resource": resource}
            out.write(b"\n" if first else b",\n")
            out.write(json.dumps(entry, ensure_ascii=False).encode())
            first = False
        session.expunge_all()
    out.write(b"\n]}\n")


def resources_of(session: Session, practice: Practice, client_id: int) -> Iterator[Resource]:
    """The client's resources, the Patient first."""
    client = session.get_one(Client, client_id)
    made = _Maker(practice, client)
    yield made.patient()
    situation = load(session, client)
    if situation is None:
        return
    trainer = session.get_one(Trainer, client.trainer_id)
    yield made.care_plan(situation, trainer)
    for one in whole_past(session, client_id):
        if one.report is None:
            continue
        held = day_held(situation.ladder, one, situation.settings.target_s)
        if held is not None:
            yield made.hold(held, _words(situation, held.rung_key))
        yield from made.signs(one.report)
    yield from _baselines(session, made, client_id)
    for result in results_of(session, client_id):
        retest = result.retest
        about = f"retest {retest.id}"
        yield made.test(about, kind_of(retest.kind).title, retest.day, retest.score, retest.note)


def _baselines(session: Session, made: "_Maker", client_id: int) -> Iterator[Resource]:
    rows = select(Baseline).where(Baseline.client_id == client_id).order_by(col(Baseline.id))
    for row in session.exec(rows).all():
        # Not by score(), which refuses a test that was broken off: it was done all the same.
        score = score_to_json(FourStage(tuple(row.held_s)))
        yield made.test(f"baseline {row.id}", kind_of("four_stage").title, row.on, score, None)


def _words(situation: Situation, key: str) -> str:
    return rung_sentence(situation.ladder[key]) if key in situation.ladder else key


class _Maker:
    """Makes one client's resources, each with its own lasting id."""

    def __init__(self, practice: Practice, client: Client) -> None:
        self._base = uuid5(NAMESPACE, f"{practice.created_at.isoformat()} {practice.id}")
        self.client = client
        self.practice = practice
        self.subject = {"reference": f"urn:uuid:{self._id('patient')}"}

    def _id(self, about: str) -> str:
        return str(uuid5(self._base, f"client {self.client.id} {about}"))

    def patient(self) -> Resource:
        return {
            "resourceType": "Patient",
            "id": self._id("patient"),
            "active": self.client.state not in ("invited", "stopped"),
            "name": [{"text": self.client.name}],
            "telecom": [{"system": "sms", "value": self.client.phone, "use": "mobile"}],
            "communication": [
                {
                    "language": {
                        "coding": [{"system": "urn:ietf:bcp:47", "code": self.client.language}]
                    },
                    "preferred": True,
                }
            ],
        }

    def care_plan(self, situation: Situation, trainer: Trainer) -> Resource:
        settings = situation.settings
        here = situation.placement.rung_key
        timing = {
            "dayOfWeek": [WEEKDAYS[day] for day in sorted(settings.weekdays)],
            "timeOfDay": [settings.prompt_at.isoformat("seconds")],
        }
        began = self.client.consent_at or self.client.created_at
        detail = {
            "code": {"text": "Standing balance practice at home beside a counter"},
            "status": "in-progress" if self.client.state == "active" else "on-hold",
            "scheduledTiming": {"repeat": timing},
            "description": f"{_words(situation, here)} Hold for {settings.target_s} s.",
        }
        return {
            "resourceType": "CarePlan",
            "id": self._id("plan"),
            "status": PLAN_STATUS.get(self.client.state, "unknown"),
            "intent": "plan",
            "title": "Graded standing balance practice by text",
            "subject": self.subject,
            "period": {"start": began.astimezone(situation.zone).date().isoformat()},
            "created": situation.plan_row.set_at.isoformat(),
            "author": {"display": f"{trainer.name}, {self.practice.name}"},
            "activity": [{"detail": detail}],
        }

    def hold(self, held: DayHeld, rung: str) -> Resource:
        """One day's practice: seconds of each side as components, or one value without sides."""
        made = self._observation(
            f"hold {held.day} {held.rung_key}", "activity", "Standing balance hold", held.day
        )
        made["method"] = {"text": rung}
        made["note"] = [{"text": f"Target {held.target_s:g} s. {TOLD_BY_TEXT}"}]
        made["interpretation"] = [{"text": held.verdict.replace("_", " ")}]
        if set(held.by_side) == {"both"}:
            made["valueQuantity"] = _seconds(held.by_side["both"])
        else:
            made["component"] = [
                {"code": {"text": SIDE_WORDS[side]}, "valueQuantity": _seconds(seconds)}
                for side, seconds in held.by_side.items()
            ]
        return made

    def signs(self, report: DayReport) -> Iterator[Resource]:
        """A fall, pain or dizziness that was surely told of."""
        for field, text in SIGNS:
            if getattr(report, field) == "yes":
                made = self._observation(f"{field} {report.day}", "survey", text, report.day)
                made["valueBoolean"] = True
                made["note"] = [{"text": TOLD_BY_TEXT}]
                yield made

    def test(
        self, about: str, title: str, day: date, score: dict[str, Any], note: str | None
    ) -> Resource:
        """A published standing test done by a trainer."""
        made = self._observation(about, "exam", title, day)
        if score["value"] is None:
            made["dataAbsentReason"] = {"text": str(score["unit"])}
        else:
            made["valueQuantity"] = {"value": score["value"], "unit": score["unit"]}
        if note:
            made["note"] = [{"text": note}]
        return made

    def _observation(self, about: str, category: str, text: str, day: date) -> Resource:
        return {
            "resourceType": "Observation",
            "id": self._id(about),
            "status": "final",
            "category": [{"coding": [{"system": CATEGORY, "code": category}]}],
            "code": {"text": text},
            "subject": self.subject,
            "effectiveDateTime": day.isoformat(),
        }


def _seconds(value: float) -> Resource:
    return {"value": value, "unit": "s", "system": UCUM, "code": "s"}
