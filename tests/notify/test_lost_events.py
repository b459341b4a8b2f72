"""An alarm whose event got lost in a flood is told all the same, within seconds."""

from __future__ import annotations

from pathlib import Path

from pitlogger.engine.inputs import Command
from pitlogger.model.journal import TroubleChanged
from pitlogger.testing.waiting import until
from pitlogger.views.fanout import QUEUE_LENGTH, Happening
from tests.notify.conftest import WebServer
from tests.notify.test_service import DISK, Night


async def test_an_event_that_was_pushed_out_of_the_queue_is_made_up_for(
    tmp_path: Path, web_server: WebServer
) -> None:
    night = Night(tmp_path, web_server)
    async with night.running() as daemon:
        await until(lambda: daemon.journalling.is_settled)
        daemon.journalling._publish = lambda row, on_disk: None  # type: ignore[method-assign]
        changed = TroubleChanged("disk-low", "node", True, "2 % of the disk are free", "Make room")
        daemon.feed(Command(night.clock.engine_ms(), changed))
        for _ in range(2 * QUEUE_LENGTH):
            daemon.fanout.publish(Happening("steady", {}))
        await night.after(2_000)
        assert DISK in daemon.notifier.outbox.standing
