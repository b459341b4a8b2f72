"""What the tests of the whole daemon share."""

from __future__ import annotations

from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from tests.system.broker import Broker


@pytest.fixture
async def broker(tmp_path: Path) -> AsyncIterator[Broker]:
    """A Mosquitto of its own."""
    folder = tmp_path / "broker"
    folder.mkdir()
    made = Broker(folder)
    await made.start()
    yield made
    made.stop()
