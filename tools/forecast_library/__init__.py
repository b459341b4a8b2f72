"""Builds the library that forecasts learn from: cooks of the plant, drawn wide and seeded."""
