"""What follows from a client's text or from the clock: pure handlers from a dossier to effects."""
