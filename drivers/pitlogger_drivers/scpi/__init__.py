"""Laboratory thermometers that speak SCPI."""
