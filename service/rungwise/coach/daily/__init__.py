"""What happens day by day: prompts out, replies in, results, safety, delivery."""
