"""Texts by language, and how many SMS segments they take. Pure."""
