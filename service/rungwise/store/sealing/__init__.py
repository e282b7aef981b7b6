"""Sealing what names or quotes a person."""
