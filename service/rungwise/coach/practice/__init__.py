"""What a practice lead sets."""
