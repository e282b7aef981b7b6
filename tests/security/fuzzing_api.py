"""The API called with what schemathesis makes up from its own description, by Tess's token.

Beside schemathesis's own checks (answers as described, nothing wrong taken, no call without the
token, no method that is not there), no answer tells of another trainer's client.
"""

from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import schemathesis
from api_calls import token_for
from fuzzing import THEIRS, Found, call_with, make_fuzzed
from schemathesis import GenerationMode
from schemathesis.specs.openapi.checks import positive_data_acceptance
from web_world import World

from rungwise.app import create_app
from rungwise.parts import Parts
from rungwise.web.http.security import HEADERS

# Of which dates a day may be told, and what together, cannot be said in a schema.
NOT_ASKED = [positive_data_acceptance]


@dataclass
class Called:
    """The API under fire."""

    world: World
    token: str
    calls: Counter[tuple[str, str, int]] = field(default_factory=Counter)

    @property
    def statuses(self) -> Counter[int]:
        found: Counter[int] = Counter()
        for (_, _, status), many in self.calls.items():
            found[status] += many
        return found

    def operations(self) -> list[Any]:
        schema = schemathesis.openapi.from_dict(self.world.app.state.api_document())
        schema.app = self.world.app
        return [result.ok() for result in schema.get_all_operations()]

    def attack(self, operation: Any, examples: int, seed: int = 0) -> None:
        """Call one operation with what fits its description and what does not; Found or nothing."""
        for mode in (GenerationMode.POSITIVE, GenerationMode.NEGATIVE):
            call_with(operation, mode, examples, seed, self._call)

    def _call(self, case: Any) -> None:
        answer = case.call(headers={"Authorization": f"Bearer {self.token}"})
        self.calls[case.method, case.path, answer.status_code] += 1
        where = f"{case.method} {case.path}"
        told = answer.content.decode("utf-8", "replace")
        for words in THEIRS:
            if words in told:
                raise Found(f"{where} tells {words!r}")
        lacking = [name for name in HEADERS if name.lower() not in answer.headers]
        if lacking:
            raise Found(f"{where} lacks {lacking}")
        if "/api/v1/" not in str(answer.request.url):
            return  # dots in the path led out of the API
        told = case.path.endswith(("/days", "/reading"))
        case.validate_response(answer, excluded_checks=NOT_ASKED if told else [])


def make_called(folder: Path) -> Called:
    """The API of a practice that has something of everything; nobody is told to wait."""
    world = make_fuzzed(folder).world
    parts = world.parts
    settings = parts.settings.model_copy(update={"api_per_minute": 100_000})
    world.app = create_app(parts=Parts(settings, parts.store, parts.clock, parts.carriers))
    return Called(world, token_for(world, "tess"))
