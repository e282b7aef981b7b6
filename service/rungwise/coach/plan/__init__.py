"""What a trainer sets for a client: plan, placement, undo."""
