"""The subcommands of `rungwise`, one module each."""
