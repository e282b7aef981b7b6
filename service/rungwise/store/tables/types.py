"""Column types, and conditions of small indexes."""

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import DateTime, Dialect, text
from sqlalchemy.types import TypeDecorator


class UtcDateTime(TypeDecorator[datetime]):
    """An aware UTC instant in both directions; a naive one is a mistake and is refused."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, _dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("An instant needs a time zone.")
        return value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, _dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


def only(condition: str) -> dict[str, Any]:
    """For an index that holds only the rows of which this is true."""
    return {"sqlite_where": text(condition), "postgresql_where": text(condition)}
