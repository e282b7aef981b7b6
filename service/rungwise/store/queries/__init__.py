"""Lists and counts that pages ask for."""
