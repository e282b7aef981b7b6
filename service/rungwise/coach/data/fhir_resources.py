"""One client's resources of HL7 FHIR R4 (4.0.1), made from plain values.

Each carries an identifier of this installation, the same in every export, by which a receiver puts
it in the place of what it had. Units are UCUM; rungs are codes of a system of our own, whose
concepts the bundle brings along; LOINC's code is from memory, all else is plain text.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from importlib.metadata import version
from typing import Any
from uuid import UUID, uuid5

from rungwise.coach.record.progress import DayHeld
from rungwise.coach.record.situation import Situation
from rungwise.ladder.day import DayReport
from rungwise.store.tables import Client, MoveRow, Practice, Trainer
from rungwise.wording.rung_words import rung_sentence, rung_short

Resource = dict[str, Any]

NAMESPACE = UUID("6f1a8a50-7a0e-4a83-9d0e-2f8f4b1c7d11")
# The code systems of our own, by names that are nobody else's: there is no address to look them up.
RUNGS = "urn:uuid:1c1f6d0e-0a54-5b0c-9f27-6e1d0d3b7a01"
CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"
AGENTS = "http://terminology.hl7.org/CodeSystem/provenance-participant-type"
ABSENT = "http://terminology.hl7.org/CodeSystem/data-absent-reason"
UCUM = "http://unitsofmeasure.org"
# "Pain severity - 0-10 verbal numeric rating [Score] - Reported", from memory.
LOINC, PAIN_SCORE = "http://loinc.org", "72514-3"
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
PLAN_STATUS = {
    "invited": "draft",
    "active": "active",
    "resting": "on-hold",
    "paused": "on-hold",
    "stopped": "revoked",
}
GOAL_STATUS = {
    "draft": "proposed",
    "active": "active",
    "on-hold": "on-hold",
    "revoked": "cancelled",
}
SIDE_WORDS = {
    "left": "Left foot in front, or standing on the left foot",
    "right": "Right foot in front, or standing on the right foot",
    "both": "Both feet alike",
}
SIGNS = (("fall", "Fall told by text"), ("dizzy", "Dizziness told by text"))
TOLD_BY_TEXT = "Told by the client in a text message; not measured."
PRACTICE_AT_HOME = "Standing balance practice at home beside a counter"


@dataclass(frozen=True, slots=True)
class PainTold:
    """A day's pain: where, as in a reading, and how bad, 0 to 10; None where it was not told."""

    day: date
    place: str | None
    score: int | None


class Bundle:
    """What a bundle's resources share: identifiers, and the rungs that they name."""

    def __init__(self, practice: Practice) -> None:
        self.practice = practice
        self.base = uuid5(NAMESPACE, f"{practice.created_at.isoformat()} {practice.id}")
        self.rungs: dict[str, tuple[str, str]] = {}

    def full_url(self, about: str) -> str:
        return f"urn:uuid:{uuid5(self.base, about)}"

    def reference(self, about: str) -> Resource:
        return {"reference": self.full_url(about)}

    def identifier(self, about: str) -> Resource:
        return {"system": f"urn:uuid:{self.base}", "value": about}

    def entry(self, about: str, resource: Resource) -> Resource:
        """An entry that creates the resource, or replaces the one with the same identifier."""
        kind = resource["resourceType"]
        if kind == "CodeSystem":
            query = f"url={RUNGS}"
        elif kind == "Provenance":
            # It has no identifier, and the same export twice is two things that happened.
            request = {"method": "POST", "url": kind}
            return {"fullUrl": self.full_url(about), "resource": resource, "request": request}
        else:
            query = f"identifier=urn:uuid:{self.base}|{about.replace(' ', '%20')}"
        request = {"method": "PUT", "url": f"{kind}?{query}"}
        return {"fullUrl": self.full_url(about), "resource": resource, "request": request}

    def organization(self) -> Resource:
        return {
            "resourceType": "Organization",
            "identifier": [self.identifier("practice")],
            "name": self.practice.name,
        }

    def device(self) -> Resource:
        return {
            "resourceType": "Device",
            "identifier": [self.identifier("software")],
            "deviceName": [{"name": "Rungwise", "type": "user-friendly-name"}],
            "version": [{"value": version("rungwise")}],
            "owner": self.reference("practice"),
        }

    def practitioner(self, trainer: Trainer) -> Resource:
        return {
            "resourceType": "Practitioner",
            "identifier": [self.identifier(f"trainer {trainer.id}")],
            "active": trainer.active,
            "name": [{"text": trainer.name}],
        }

    def rung(self, situation: Situation, key: str) -> Resource:
        """The rung as a code of our own, with its words; its concept goes into the bundle."""
        if key not in situation.ladder:
            return {"text": key}
        rung = situation.ladder[key]
        self.rungs[key] = (rung_short(rung), rung_sentence(rung))
        coding = {"system": RUNGS, "code": key, "display": rung_short(rung)}
        return {"coding": [coding], "text": rung_sentence(rung)}

    def code_system(self) -> Resource:
        """The rungs named in this bundle: ladders are worked out, so nothing lists them all."""
        return {
            "resourceType": "CodeSystem",
            "url": RUNGS,
            "version": "1",
            "name": "BalanceRungs",
            "title": "Rungs of graded standing balance practice",
            "status": "active",
            "experimental": False,
            "publisher": "Rungwise",
            "description": "Each code is one exact standing task: stance, distance between the "
            "feet, surface, which foot is on it, and support. The codes of one client's ladder "
            "keep their meaning for ever.",
            "caseSensitive": True,
            "content": "fragment",
            "concept": [
                {"code": key, "display": short, "definition": whole}
                for key, (short, whole) in sorted(self.rungs.items())
            ],
        }


class ClientResources:
    """Makes one client's resources."""

    def __init__(self, bundle: Bundle, client: Client) -> None:
        self.bundle = bundle
        self.client = client
        self.subject = bundle.reference(self.about("patient"))
        self.trainer = bundle.reference(f"trainer {client.trainer_id}")

    def about(self, what: str) -> str:
        return f"client {self.client.id} {what}"

    def _begun(self, kind: str, what: str) -> Resource:
        return {
            "resourceType": kind,
            "identifier": [self.bundle.identifier(self.about(what))],
        }

    def patient(self) -> Resource:
        language = {"system": "urn:ietf:bcp:47", "code": self.client.language}
        return self._begun("Patient", "patient") | {
            "active": self.client.state not in ("invited", "stopped"),
            "name": [{"text": self.client.name}],
            "telecom": [{"system": "sms", "value": self.client.phone, "use": "mobile"}],
            "communication": [{"language": {"coding": [language]}, "preferred": True}],
            "generalPractitioner": [self.trainer],
            "managingOrganization": self.bundle.reference("practice"),
        }

    def goal(self, situation: Situation) -> Resource:
        """The present rung, held for so long."""
        target = {
            "measure": self.bundle.rung(situation, situation.placement.rung_key),
            "detailQuantity": _seconds(situation.settings.target_s),
        }
        return self._begun("Goal", "goal") | {
            "lifecycleStatus": GOAL_STATUS[PLAN_STATUS.get(self.client.state, "on-hold")],
            "description": self.bundle.rung(situation, situation.placement.rung_key),
            "subject": self.subject,
            "startDate": situation.placement.set_at.astimezone(situation.zone).date().isoformat(),
            "target": [target],
            "expressedBy": self.trainer,
        }

    def care_plan(self, situation: Situation, moves: list[MoveRow]) -> Resource:
        """The plan as it is now, and each placing so far as an activity with its reason."""
        settings = situation.settings
        timing = {
            "dayOfWeek": [WEEKDAYS[day] for day in sorted(settings.weekdays)],
            "timeOfDay": [settings.prompt_at.isoformat("seconds")],
        }
        began = self.client.consent_at or self.client.created_at
        now = {
            "code": self.bundle.rung(situation, situation.placement.rung_key),
            "goal": [self.bundle.reference(self.about("goal"))],
            "status": "in-progress" if self.client.state == "active" else "on-hold",
            "scheduledTiming": {"repeat": timing},
            "performer": [self.subject],
            "description": f"{PRACTICE_AT_HOME}. Hold for {settings.target_s} s.",
        }
        return self._begun("CarePlan", "plan") | {
            "status": PLAN_STATUS.get(self.client.state, "unknown"),
            "intent": "plan",
            "title": "Graded standing balance practice by text",
            "subject": self.subject,
            "period": {"start": began.astimezone(situation.zone).date().isoformat()},
            "created": situation.plan_row.set_at.isoformat(),
            "author": self.trainer,
            "goal": [self.bundle.reference(self.about("goal"))],
            "activity": [{"detail": now}, *self._placings(situation, moves)],
        }

    def _placings(self, situation: Situation, moves: list[MoveRow]) -> Iterator[Resource]:
        """What each move led to and when it ended, with the reason in plain words."""
        for move, after in zip(moves, [*moves[1:], None], strict=True):
            period = {"start": move.local_date.isoformat()}
            if after is not None:
                period["end"] = max(move.local_date, after.local_date).isoformat()
            by = self.bundle.full_url(
                f"trainer {move.trainer_id}" if move.trainer_id else "software"
            )
            reason = {
                "authorReference" if move.trainer_id else "authorString": {"reference": by}
                if move.trainer_id
                else f"Rungwise, rule {move.rule_version}",
                "time": move.decided_at.isoformat(),
                "text": f"{move.kind}: {move.because}",
            }
            detail = {
                "code": self.bundle.rung(situation, move.to_key),
                "status": "on-hold" if move.kind == "rest" else "completed",
                "scheduledPeriod": period,
                "performer": [self.subject],
            }
            yield {"progress": [reason], "detail": detail}

    def hold(self, situation: Situation, held: DayHeld) -> Resource:
        """One day's practice: seconds of each side as components, or one value without sides."""
        made = self._told(
            f"hold {held.day} {held.rung_key}", "activity", "Standing balance hold", held.day
        )
        made["method"] = self.bundle.rung(situation, held.rung_key)
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

    def not_done(self, what: str, day: date, reason: str) -> Resource:
        """A day without practice, and why."""
        return self._begun("Procedure", f"{what} {day}") | {
            "status": "not-done",
            "statusReason": {"text": reason},
            "code": {"text": PRACTICE_AT_HOME},
            "subject": self.subject,
            "performedDateTime": day.isoformat(),
        }

    def signs(self, report: DayReport) -> Iterator[tuple[str, Resource]]:
        """A fall or dizziness that was surely told of."""
        for field, text in SIGNS:
            if getattr(report, field) == "yes":
                what = f"{field} {report.day}"
                made = self._told(what, "survey", text, report.day)
                made["valueBoolean"] = True
                made["note"] = [{"text": TOLD_BY_TEXT}]
                yield what, made

    def pain(self, told: PainTold) -> Resource:
        """A day's pain: its score, or that none was told; where, in words."""
        made = self._told(f"pain {told.day}", "survey", "Pain told by text", told.day)
        made["code"]["coding"] = [{"system": LOINC, "code": PAIN_SCORE}]
        if told.score is None:
            absent = {"system": ABSENT, "code": "not-asked"}
            made["dataAbsentReason"] = {"coding": [absent], "text": "Told without a score."}
        else:
            made["valueInteger"] = told.score
        if told.place:
            made["bodySite"] = {"text": told.place.replace("_", " ")}
        made["note"] = [{"text": TOLD_BY_TEXT}]
        return made

    def test(
        self,
        what: str,
        title: str,
        day: date,
        score: Mapping[str, Any],
        note: str | None,
        trainer_id: int,
    ) -> Resource:
        """A published standing test done by a trainer."""
        made = self._observation(what, "exam", title, day)
        made["performer"] = [self.bundle.reference(f"trainer {trainer_id}")]
        if score["value"] is None:
            made["dataAbsentReason"] = {"text": str(score["unit"])}
        else:
            made["valueQuantity"] = {"value": score["value"], "unit": score["unit"]}
        if note:
            made["note"] = [{"text": note}]
        return made

    def _told(self, what: str, category: str, text: str, day: date) -> Resource:
        return self._observation(what, category, text, day) | {"performer": [self.subject]}

    def _observation(self, what: str, category: str, text: str, day: date) -> Resource:
        return self._begun("Observation", what) | {
            "status": "final",
            "category": [{"coding": [{"system": CATEGORY, "code": category}]}],
            "code": {"text": text},
            "subject": self.subject,
            "effectiveDateTime": day.isoformat(),
        }

    def provenance(self, now: datetime, targets: list[str], authors: list[Resource]) -> Resource:
        """Whose word these resources are, and that this software put them together."""
        agents = [_agent("author", who) for who in authors]
        return {
            "resourceType": "Provenance",
            "target": [self.bundle.reference(about) for about in targets],
            "recorded": now.isoformat(),
            "agent": [*agents, _agent("assembler", self.bundle.reference("software"))],
        }


def _agent(kind: str, who: Resource) -> Resource:
    return {"type": {"coding": [{"system": AGENTS, "code": kind}]}, "who": who}


def _seconds(value: float) -> Resource:
    return {"value": value, "unit": "s", "system": UCUM, "code": "s"}
