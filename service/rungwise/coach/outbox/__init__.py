"""Texts on their way out: queued, claimed, rated, joined from parts."""
