"""Commands about what is on record: yield, safety, food log, reports, import, export, store."""
