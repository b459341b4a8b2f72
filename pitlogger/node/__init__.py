"""The node at work: daemon, intake, journalling, keeping and forecasting on one event loop."""
