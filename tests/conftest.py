"""What holds for all tests."""

from hypothesis import settings

# How long an example takes is the machine's affair: speed is measured by the benchmarks.
settings.register_profile("patient", deadline=None)
settings.load_profile("patient")
