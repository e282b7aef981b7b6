"""Whether the service is well, and who is told when not."""
