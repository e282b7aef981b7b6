"""The second reader: statistics that can raise a doubt about a text, and nothing else.

The lists hear what somebody thought of writing down; this one weighs letters and words by what
harm looked like in the corpora, so its mistakes are other mistakes. It never rests anybody, never
takes a sign away, and learns nothing while the service runs.
"""

from rungwise.reply.second.doubt import doubted

__all__ = ["doubted"]
