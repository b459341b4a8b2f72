"""What is watched: limits, silence, instruments, and the conditions judged each bin or minute."""
