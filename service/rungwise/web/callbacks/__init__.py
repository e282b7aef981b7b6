"""What carriers call."""
