"""The engine: one function, ``step(input) -> outputs``, for live, replay and test alike."""
