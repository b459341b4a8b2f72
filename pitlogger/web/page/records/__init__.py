"""Screens of what was: food log, weights, what was written, past cooks, print, import."""
