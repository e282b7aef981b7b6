"""Every setting, read once from the environment; a wrong one stops the start with a sentence."""

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from service.errors import ServiceError

PREFIX = "RUNGWISE_"


class WrongSetting(ServiceError):
    """A setting in the environment is missing or cannot be used."""


class Settings(BaseModel):
    """Field `x` comes from the variable RUNGWISE_X. Secrets may also come from RUNGWISE_X_FILE."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    database_url: str = "sqlite:///rungwise.sqlite3"
    host: str = "127.0.0.1"
    port: int = Field(default=8780, ge=1, le=65535)
    public_url: str = "http://127.0.0.1:8780"
    handset_token: str | None = Field(default=None, min_length=16)
    ticks: bool = True
    tick_seconds: float = Field(default=1.0, ge=0.1, le=60)
    secure_cookies: bool = False

    @classmethod
    def from_environment(cls, environ: Mapping[str, str] | None = None) -> Self:
        """Read the settings; WrongSetting names the variable, its value and what is allowed."""
        given = os.environ if environ is None else environ
        values: dict[str, str] = {}
        for name in cls.model_fields:
            variable = PREFIX + name.upper()
            if variable in given:
                values[name] = given[variable]
            elif f"{variable}_FILE" in given:
                values[name] = Path(given[f"{variable}_FILE"]).read_text(encoding="utf-8").strip()
        try:
            return cls(**values)  # type: ignore[arg-type]  # pydantic turns the strings into types
        except ValidationError as problem:
            raise WrongSetting(_sentence(problem)) from None


def _sentence(problem: ValidationError) -> str:
    parts = []
    for error in problem.errors():
        variable = PREFIX + str(error["loc"][0]).upper()
        parts.append(f"{variable}: {error['msg']}")
    return "Check these settings and start again. " + "; ".join(parts) + "."
