"""Containers, scale tolerance and the uncertainty of a weighing."""
