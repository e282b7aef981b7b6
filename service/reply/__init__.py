"""The reply reader: a short text in, a Reading out. Pure."""
