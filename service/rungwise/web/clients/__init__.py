"""Pages about clients."""
