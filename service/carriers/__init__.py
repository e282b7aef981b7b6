"""Ways texts leave and arrive."""
