"""For authors of drivers: a contract suite, and aids for tests without hardware.

from pitlogger.testing import DriverContract

class TestMine(DriverContract):
    driver = MyDriver
    config = {"port": "/dev/null"}
    recording = Path(__file__).parent / "capture.jsonl"
"""

from pitlogger.clock import ManualClock
from pitlogger.testing.feeding import feed_bytewise, feed_whole, outcomes_of
from pitlogger.testing.ports import PseudoPort
from pitlogger.testing.suite import DriverContract
from pitlogger.testing.waiting import ManualSleep, until

__all__ = [
    "DriverContract",
    "ManualClock",
    "ManualSleep",
    "PseudoPort",
    "feed_bytewise",
    "feed_whole",
    "outcomes_of",
    "until",
]
