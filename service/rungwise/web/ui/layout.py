"""What every signed-in page has around it: where to go, and what must not be missed."""

from dataclasses import dataclass
from datetime import timedelta

from fastapi.responses import HTMLResponse
from sqlmodel import Session

from rungwise.store.queries.banner_counts import Scope, watch
from rungwise.web.http.auth import Visit, real_now
from rungwise.web.ui.templating import page

TICKS_LATE = timedelta(minutes=1)
# Pages that belong under a place of another name.
BELOW = {"/visits": ("/week", "/month"), "/outcomes": ("/rule-review",)}


@dataclass(frozen=True, slots=True)
class Place:
    """A page in the navigation; `here` when this page or one below it is shown.

    `folded` ones stand in the menu under the trainer's name: they are looked at now and then.
    """

    address: str
    name: str
    here: bool
    folded: bool = False


def framed(
    visit: Visit, session: Session, name: str, status: int = 200, **values: object
) -> HTMLResponse:
    """The template `name` within the frame. Two queries for the frame, whatever the page."""
    seen = watch(session, Scope.of(visit.trainer))
    # Ticks are noted in real time, also on a demo whose clock runs ahead.
    late = seen.last_tick is not None and real_now(visit.parts) - seen.last_tick > TICKS_LATE
    return page(
        name,
        status,
        visit=visit,
        zone=visit.practice.time_zone,
        now=visit.now,
        csrf=visit.csrf,
        places=places(visit),
        open_alerts=seen.open_alerts,
        urgent_waiting=seen.urgent_waiting,
        failing=seen.failing,
        untested=seen.untested,
        ticks_stopped=seen.last_tick if late else None,
        share_played=visit.parts.share_played,
        **values,
    )


def has_phone(visit: Visit) -> bool:
    """Whether there is a practice phone: on the demo, and where texts never leave the machine."""
    return visit.practice.is_demo or visit.practice.carrier == "handset"


def places(visit: Visit) -> list[Place]:
    daily = [("/", "Day"), ("/clients", "Clients"), ("/visits", "Visits")]
    daily += [("/outcomes", "Outcomes"), ("/practice", "Practice")]
    folded = []
    if has_phone(visit):
        folded.append(("/phone", "Practice phone"))
    folded.append(("/account", "Your account"))
    here = [Place(address, name, _here(visit.path, address)) for address, name in daily]
    return here + [
        Place(address, name, _here(visit.path, address), folded=True) for address, name in folded
    ]


def _here(path: str, address: str) -> bool:
    if address == "/":
        return path == "/" or path.startswith(("/alerts", "/incidents", "/unknown-numbers"))
    if address in BELOW and path.startswith(BELOW[address]):
        return True
    return path == address or path.startswith(f"{address}/")
