"""What a reply was read as: plain values, with the words behind each."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from rungwise.ladder.stance import Answer, Side, Steadiness

# Goes up with every change of what a reply is read as; stored beside each reading.
READER_VERSION = 4

Kind = Literal["result", "skipped", "question", "opt_out", "opt_in", "help", "safety_only", "other"]
Asked = Literal[
    "result",
    "fall_yes_no",
    "pain_yes_no",
    "dizzy_yes_no",
    "hurt",
    "pain_score",
    "steadiness",
    "seconds",
    "sides",
    "retest",
]


@dataclass(frozen=True, slots=True)
class Context:
    """What the service knew when the reply came.

    `target_s` the hold asked for; `sided` whether both sides were asked for; `leads` the sides in
    the order asked; `asked` what the last text asked for; `language` a folder under
    service/rungwise/reply/languages.
    """

    target_s: int = 20
    sided: bool = False
    leads: tuple[Side, ...] = ()
    asked: Asked = "result"
    language: str = "en"


@dataclass(frozen=True, slots=True)
class Hold:
    seconds: float
    side: Literal["left", "right", "both"] | None = None


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of the original text: start and end as Python string indices."""

    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Reading:
    """One reply, read. See docs/reading-replies.md for what each field means.

    `question` is true beside any kind when the client asks something too; `later` when they say
    they will do it later; `to_target` when they say in words that they held all of it; `about_task`
    when what they ask is how to stand or hold today.
    """

    kind: Kind
    holds: tuple[Hold, ...] = ()
    steadiness: Steadiness | None = None
    steadiness_by_side: Mapping[str, Steadiness] = field(default_factory=dict)
    fall: Answer = "no"
    pain: Answer = "no"
    dizzy: Answer = "no"
    emergency: bool = False
    body_part: str | None = None
    confidence: float = 1.0
    because: Mapping[str, tuple[Span, ...]] = field(default_factory=dict)
    yes_no: Literal["yes", "no"] | None = None
    pain_score: int | None = None
    correction: bool = False
    same_as_before: bool = False
    effort: Literal["too_hard", "too_easy"] | None = None
    question: bool = False
    later: bool = False
    to_target: bool = False
    about_task: bool = False
