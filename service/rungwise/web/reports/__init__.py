"""Summaries, retests, visits, outcomes, rule review."""
