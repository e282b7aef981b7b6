"""Which trainers no page would reach, or may not, and why, as sentences."""

from collections.abc import Collection, Iterator, Sequence

from rungwise.carriers.email import EMAIL
from rungwise.coach.accounts.trainers import Colleague
from rungwise.coach.alerting.paging import BY_EMAIL, ways_to
from rungwise.store.tables import Practice, Trainer

UNTESTED = "no test page was answered yet"


def who_cannot_be_paged(
    practice: Practice, people: Sequence[Colleague], carriers: Collection[str]
) -> list[tuple[Trainer, str]]:
    """Each active trainer whom nothing reaches here, or who has not shown that it does; those with
    clients first.
    """
    found = [
        (one, why)
        for one in people
        if one.trainer.active and (why := _why(practice, one.trainer, carriers))
    ]
    found.sort(key=lambda each: -each[0].clients)
    return [(one.trainer, _with_clients(one, why)) for one, why in found]


def _why(practice: Practice, trainer: Trainer, carriers: Collection[str]) -> str:
    """Why no page reaches them; empty when one would."""
    ways = ways_to(practice, trainer)
    if any(_works(practice, by_email=way.by == BY_EMAIL, carriers=carriers) for way in ways):
        return "" if trainer.page_answered_at is not None else UNTESTED
    return ", and ".join(_missing(practice, trainer, carriers))


def _missing(practice: Practice, trainer: Trainer, carriers: Collection[str]) -> Iterator[str]:
    if not trainer.phone:
        yield "no phone is set"
    elif trainer.page_by == "email":
        yield "texts are not wanted"
    else:
        yield f"texts do not leave: {practice.carrier} is not set up here"
    yield "e-mail is not set up here" if EMAIL not in carriers else "e-mail is not wanted"


def _works(practice: Practice, *, by_email: bool, carriers: Collection[str]) -> bool:
    return (EMAIL if by_email else practice.carrier) in carriers


def _with_clients(one: Colleague, why: str) -> str:
    if not one.clients:
        return f"{why}. No clients now."
    set_what = "Send one" if why == UNTESTED else "Set a phone"
    clients = "1 client" if one.clients == 1 else f"{one.clients:,} clients"
    return f"{why}. {set_what}: urgent alerts of {clients} depend on it."
