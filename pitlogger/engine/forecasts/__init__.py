"""Forecasts of the engine: which are requested, what goes out and comes back, their summary."""
