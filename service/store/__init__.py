"""Tables and queries. Importing it makes every table known."""

from service.store import (
    account_tables,
    alert_tables,
    api_tables,
    carrier_tables,
    intake_tables,
    review_tables,
    sealing,
    tables,
)
from service.store.database import Store

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
