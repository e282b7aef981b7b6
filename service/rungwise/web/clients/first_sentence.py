"""The act beside a client's first sentence: its words and where it leads."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from urllib.parse import urlencode

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


def button(advice: Advice, client_id: int, steps: Steps, *, resting: bool) -> Button | None:
    """What to press; None where the phone or nothing is the act."""
    here = f"/clients/{client_id}"
    choose = Button("Choose where to go on…" if resting else "Choose a step…", f"{here}/override")
    step = partial(_step, here, steps.lengths)
    buttons: Mapping[Act, Callable[[], Button | None]] = {
        Act.OPEN_ALERT: lambda: Button("Open", f"/alerts/{advice.alert_id}"),
        Act.PLACE_LOWER: lambda: step("Place on {step}…", steps.below) or choose,
        Act.LOOK_AT_GATE: lambda: step("Look at {step}…", steps.gated) or choose,
        Act.CHOOSE_STEP: lambda: choose,
        Act.BEGIN_AGAIN: lambda: Button("Begin texts again", f"{here}/resume", posts=True),
        Act.SEE_START: lambda: Button("See what is open", f"{here}/start"),
        Act.RETEST: lambda: Button("Record a retest…", f"{here}/retests"),
        Act.NONE: lambda: None,
    }
    return buttons[advice.act]()


def _step(here: str, lengths: Lengths, label: str, rung: Rung | None) -> Button | None:
    if rung is None:
        return None
    name = stance_name(rung, lengths)
    asked = urlencode({"rung_key": rung.key})
    lower = name[:1].lower() + name[1:]
    return Button(label.format(step=lower), f"{here}/override?{asked}")
