"""The ladder and the decision: pure, no clock, no database, no network."""
