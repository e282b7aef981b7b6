"""The reply reader: a short text in, a Reading out. Pure."""

from rungwise.reply.reader import read
from rungwise.reply.reading import READER_VERSION, Asked, Context, Hold, Kind, Reading, Span

__all__ = ["READER_VERSION", "Asked", "Context", "Hold", "Kind", "Reading", "Span", "read"]
