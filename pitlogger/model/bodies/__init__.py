"""Bodies of journal entries; imported by their names from ``pitlogger.model.journal``."""
