"""A trainer's own sign-in."""
