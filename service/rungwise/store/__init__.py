"""Tables and queries. Importing it makes every table known."""

from rungwise.store import (
    account_tables,
    alert_tables,
    api_tables,
    carrier_tables,
    intake_tables,
    review_tables,
    sealing,
    tables,
)
from rungwise.store.database import Store

__all__ = [
    "Store",
    "account_tables",
    "alert_tables",
    "api_tables",
    "carrier_tables",
    "intake_tables",
    "review_tables",
    "sealing",
    "tables",
]
