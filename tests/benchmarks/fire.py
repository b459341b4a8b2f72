"""How soon a high alarm reaches a living way while all others are dead and the page is attacked.

python -m tests.benchmarks fire
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from tests.benchmarks.row import Row
from tests.torture.fire import delays_under_fire, p99

ALARMS = int(os.environ.get("FIRE_ALARMS", "15"))


def rows() -> list[Row]:
    """Return the row ``alarm-under-fire``."""
    with tempfile.TemporaryDirectory() as folder:
        delays_s, _ = delays_under_fire(Path(folder), ALARMS)
    return [Row("alarm-under-fire", p99(delays_s), "s")]
