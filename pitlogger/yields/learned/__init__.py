"""What past cooks teach: servable yield, steps, durations; with their priors."""
