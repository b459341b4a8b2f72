"""Reports: what is handed over or printed, made from the journal and the readings."""
