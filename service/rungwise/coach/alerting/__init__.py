"""Alerts, and whom they reach."""
