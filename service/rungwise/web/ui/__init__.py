"""Templates, layout and labels."""
