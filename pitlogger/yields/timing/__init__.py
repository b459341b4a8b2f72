"""When to light the fire and how the pits are shared."""
