"""Tables and queries. Importing it makes every table known."""

from rungwise.store import changes, tables
from rungwise.store.database import Store
from rungwise.store.sealing import unlocking

__all__ = ["Store", "changes", "tables", "unlocking"]
