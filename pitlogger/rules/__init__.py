"""Rules: conditions on readings, the alert state machine, targets and policies.

Nothing here reads a clock or a file. Policy files (``policy/*.toml``) are text that the
composition root hands in.
"""
