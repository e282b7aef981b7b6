"""Everything of a client, out or away for good."""
