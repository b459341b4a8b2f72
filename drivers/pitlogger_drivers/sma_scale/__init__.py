"""Serial scales after the open standard SMA SCP-0499, level 1."""
