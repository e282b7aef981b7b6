"""What a practice shows of its work."""
