"""Tables and queries."""

from service.store.database import Store

__all__ = ["Store"]
