"""Costs, prices and quotes."""
