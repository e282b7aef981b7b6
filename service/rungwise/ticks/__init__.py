"""Due times, quiet hours and the jobs that act on them."""
