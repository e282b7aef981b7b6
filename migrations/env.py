"""Runs the migrations over the connection that `rungwise migrate` hands in."""

from typing import Any, Literal

from alembic import context
from sqlmodel import AutoString, SQLModel

from rungwise.store.sealing.crypto import Sealed, SealedJSON
from rungwise.store.tables import UtcDateTime


def plain_type(kind: str, item: Any, _context: object) -> str | Literal[False]:
    """Migrations are read by people, and must not change when our own types do."""
    if kind == "type" and isinstance(item, UtcDateTime):
        return "sa.DateTime(timezone=True)"
    if kind == "type" and isinstance(item, Sealed):
        return "sa.Text()"
    if kind == "type" and isinstance(item, SealedJSON):
        return "sa.JSON()"
    if kind == "type" and isinstance(item, AutoString):
        return "sa.String()"
    return False


connection = context.config.attributes["connection"]
context.configure(
    connection=connection,
    target_metadata=SQLModel.metadata,
    # SQLite cannot alter most things in place; the batch mode copies the table.
    render_as_batch=connection.dialect.name == "sqlite",
    compare_type=True,
    render_item=plain_type,
)
with context.begin_transaction():
    context.run_migrations()
