"""Texts that are printed for a person to copy; the folder ``config`` holds the same."""
