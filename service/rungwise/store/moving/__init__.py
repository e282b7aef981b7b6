"""Backups, other stores, other versions."""
