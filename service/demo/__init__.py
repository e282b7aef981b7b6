"""The invented demo practice, played through the real loop."""
