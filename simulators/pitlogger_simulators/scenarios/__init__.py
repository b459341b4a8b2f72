"""Scenarios: whole cooks as small text files; ``README.md`` beside them tells the form."""
