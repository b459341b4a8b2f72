"""Type K thermocouples given as a voltage."""
