"""The kinds of thing that fall due, each with what its subject is."""

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class DueKind:
    """`of_client`: the subject is a client, who is locked while it is acted on."""

    of_client: bool = False


DUE_KINDS: Mapping[str, DueKind] = {
    "prompt": DueKind(of_client=True),
    "reminder": DueKind(of_client=True),
    "weekly": DueKind(of_client=True),
    "falls": DueKind(of_client=True),
    "retest": DueKind(of_client=True),
    "new_phone": DueKind(of_client=True),
    "doubt": DueKind(),
    "chain": DueKind(),
    # By alert, as earlier versions set it.
    "escalate": DueKind(),
    "reread": DueKind(),
    "parts": DueKind(),
    "unsent": DueKind(),
    "unsettled": DueKind(),
    "retention": DueKind(),
    "stranger": DueKind(),
}
OF_CLIENTS = tuple(kind for kind, row in DUE_KINDS.items() if row.of_client)
