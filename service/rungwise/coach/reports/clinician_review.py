"""That a clinician reviewed the texts and tables: who, which version, and when."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from sqlmodel import Session, col, select

from rungwise.coach.record.access import require_lead
from rungwise.coach.record.audit import record
from rungwise.coach.record.fields import Unfinished, day_of, name_or_refuse, sentence
from rungwise.coach.reports.booklet import booklet_of
from rungwise.errors import ImpossibleValue
from rungwise.store.tables import ClinicianReview, Practice, Trainer


@dataclass(frozen=True, slots=True)
class Reviewed:
    """The version that is in use, and the latest review, of this version or of an earlier one."""

    version: str
    latest: ClinicianReview | None

    @property
    def stands(self) -> bool:
        return self.latest is not None and self.latest.version == self.version


def reviewed(session: Session, practice: Practice) -> Reviewed:
    """Whether what clients get now has been reviewed."""
    rows = select(ClinicianReview).where(ClinicianReview.practice_id == practice.id)
    latest = session.exec(rows.order_by(col(ClinicianReview.id).desc()).limit(1)).first()
    return Reviewed(booklet_of(session, practice).version, latest)


def record_review(
    session: Session, now: datetime, lead: Trainer, given: Mapping[str, str], today: date
) -> None:
    """Keep a review by its version, as printed on the booklet; Unfinished if it is not this one."""
    require_lead(lead)
    practice = session.get_one(Practice, lead.practice_id)
    version = booklet_of(session, practice).version
    problems: dict[str, str] = {}
    kept: dict[str, str] = {}
    for name in ("clinician", "profession"):
        try:
            kept[name] = name_or_refuse(name, given.get(name, ""))
        except ImpossibleValue as wrong:
            problems[name] = sentence(wrong)
    try:
        day = day_of(given.get("reviewed_on", "").strip())
    except ImpossibleValue:
        day = None
    if day is None or day > today:
        problems["reviewed_on"] = "Fill in the day of the review; it cannot be one to come."
    if given.get("version", "").strip().lower() != version:
        problems["version"] = (
            f"The texts and tables in use are version {version}. If the clinician read another, "
            "they have changed since: print the booklet again and have the changes read."
        )
    if problems or day is None:
        raise Unfinished(problems)
    session.add(
        ClinicianReview(
            practice_id=practice.id,
            version=version,
            clinician=kept["clinician"],
            profession=kept["profession"],
            reviewed_on=day,
            recorded_by=lead.id,
            recorded_at=now,
        )
    )
    record(session, now, lead, "clinician's review recorded", version=version)
