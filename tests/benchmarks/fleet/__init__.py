"""Budgets of the fleet: what a hub costs, how fast it catches up, how it answers."""
