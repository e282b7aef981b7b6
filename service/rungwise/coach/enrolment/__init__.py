"""A new client: screening, consent, body, home, first rung."""
