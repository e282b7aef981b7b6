"""Conditions of the small indexes, written out and not bound as values, so that both databases see
that the index holds what is asked for.
"""

from sqlalchemy import and_, literal_column

CAME_IN = literal_column("message.direction") == literal_column("'in'")
IS_PROMPT = and_(
    literal_column("message.kind") == literal_column("'prompt'"),
    literal_column("message.direction") == literal_column("'out'"),
)
UNREAD = and_(
    literal_column("alert.urgency") == literal_column("'urgent'"),
    literal_column("alert.state") == literal_column("'new'"),
)
