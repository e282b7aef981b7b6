"""Deciding again what was stored, under the same or other settings."""
