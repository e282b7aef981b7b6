"""One file per thing that happens."""
