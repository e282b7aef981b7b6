"""Rungwise: a text-message coach for home balance practice."""
