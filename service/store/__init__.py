"""Tables and queries. Importing it makes every table known."""

from service.store import intake_tables, review_tables, tables
from service.store.database import Store

__all__ = ["Store", "intake_tables", "review_tables", "tables"]
