"""Pages for the practice lead."""
