"""Text that comes in and goes out: cook files (TOML), captures (SenML), journal entries (JSON)."""
