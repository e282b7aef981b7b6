"""The reply reader: a short text in, a Reading out. Pure."""

from service.reply.reader import read
from service.reply.reading import READER_VERSION, Asked, Context, Hold, Kind, Reading, Span

__all__ = ["READER_VERSION", "Asked", "Context", "Hold", "Kind", "Reading", "Span", "read"]
