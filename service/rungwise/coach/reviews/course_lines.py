"""What stands on each client's course, kept for the day's page: at most one line a client."""

from datetime import datetime

from sqlmodel import Session, col, or_, select

from rungwise.coach.record.situation import load, past
from rungwise.coach.reviews.flags import course_of
from rungwise.coach.reviews.retests import local_date
from rungwise.store import Store
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import Client, CourseLine

# A few at a time: everybody's days weighed at once would keep texts waiting.
AT_A_TIME = 5
# The gravest first.
RULES = ("decline", "told_too_well", "plateau_visit", "plateau_step", "plateau_dose")


def look_again(store: Store, now: datetime) -> int:
    """Work out anew the lines of the next few who practise; how many. Each comes once a day."""
    today = now.date()
    with store.read() as session:
        waiting = (
            select(Client)
            .join(CourseLine, col(CourseLine.client_id) == col(Client.id), isouter=True)
            .where(
                Client.state == "active",
                or_(col(CourseLine.client_id).is_(None), col(CourseLine.looked_on) < today),
            )
            .order_by(col(Client.id))
            .limit(AT_A_TIME)
        )
        found = [(one.id, *_line(session, one, now)) for one in session.exec(waiting).all()]
    if found:
        with store.write() as session:
            for client_id, rule, says in found:
                if session.get(Client, client_id) is not None:  # not erased meanwhile
                    session.merge(
                        CourseLine(client_id=client_id, rule=rule, says=says, looked_on=today)
                    )
    return len(found)


def _line(session: Session, client: Client, now: datetime) -> tuple[str | None, str | None]:
    situation = load(session, client)
    if situation is None:
        return None, None
    days = past(session, client.id)
    course = course_of(session, situation, days, local_date(client, now))
    return (None, None) if course is None else (course.rule, course.says)


def lines_in(session: Session, scope: Scope, most: int) -> list[tuple[Client, str]]:
    """The lines that stand on this scope's clients, the gravest first."""
    rows = (
        select(Client, CourseLine)
        .join(CourseLine, col(CourseLine.client_id) == col(Client.id))
        .where(scope.clients, Client.state == "active", col(CourseLine.rule).is_not(None))
        .order_by(col(Client.id))
    )
    found = sorted(session.exec(rows).all(), key=lambda row: RULES.index(str(row[1].rule)))
    return [(client, line.says or "") for client, line in found[:most]]
