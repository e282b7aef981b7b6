"""The act beside a client's first sentence: its words and where it leads."""

from collections.abc import Mapping
from dataclasses import dataclass

from rungwise.coach.reports.client_facts import Steps, stance_name
from rungwise.coach.reports.what_to_do import Act, Advice
from rungwise.concepts.measures import Lengths
from rungwise.ladder.rungs import Rung


@dataclass(frozen=True, slots=True)
class Button:
    """Verb first; an ellipsis says that a form follows. `posts` does it at once."""

    label: str
    address: str
    posts: bool = False


def button(
    advice: Advice, client_id: int, steps: Steps | None = None, *, resting: bool
) -> Button | None:
    """What to press; None where the phone or nothing is the act. `steps` name where it leads."""
    steps = steps or Steps()
    here = f"/clients/{client_id}"
    override = f"{here}/override"
    choose = "Choose where to go on…" if resting else "Choose a rung…"
    buttons: Mapping[Act, Button | None] = {
        Act.OPEN_ALERT: Button("Open", f"/alerts/{advice.alert_id}"),
        Act.PLACE_LOWER: Button(
            f"Place on {_named(steps.below, steps.lengths)}…" if steps.below else "Landmark lower…",
            f"{override}?step=lower",
        ),
        Act.LOOK_AT_GATE: Button(
            f"Look at {_named(steps.gated, steps.lengths)}…"
            if steps.gated
            else "Look at the gate…",
            f"{override}?step=gate",
        ),
        Act.CHOOSE_RUNG: Button(choose, override),
        Act.BEGIN_AGAIN: Button("Begin texts again", f"{here}/resume", posts=True),
        Act.SEE_START: Button("See what is open", f"{here}/start"),
        Act.RETEST: Button("Record a retest…", f"{here}/retests"),
        Act.NONE: None,
    }
    return buttons[advice.act]


def _named(rung: Rung, lengths: Lengths) -> str:
    name = stance_name(rung, lengths)
    return name[:1].lower() + name[1:]
