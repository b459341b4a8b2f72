"""What the daemon does not load before somebody needs it."""

from __future__ import annotations

import subprocess
import sys

HEAVY = ("numpy", "matplotlib", "segno", "pitlogger.reports.cook_report")


def test_serving_loads_nothing_that_only_some_screens_need() -> None:
    asked = f"import sys, pitlogger.web.serve; print([m for m in {HEAVY} if m in sys.modules])"
    found = subprocess.run(
        [sys.executable, "-c", asked], capture_output=True, text=True, check=True, timeout=60
    )
    assert found.stdout.strip() == "[]"
