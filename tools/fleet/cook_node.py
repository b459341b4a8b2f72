"""A real node that cooks a simulated cook, faster than life, and sends its record to a hub.

    python -m tools.fleet.cook_node FOLDER NAME SCENARIO SPEED [HUB CODE | firm of its own hub]

Its socket is FOLDER/s; ``done`` appears in FOLDER once the cook is over, and the node goes on until
it is ended (SIGTERM).
"""

from __future__ import annotations

import asyncio
import signal
import sys
from pathlib import Path
from typing import Any

from pitlogger.node.daemon import Daemon
from pitlogger.uplink import service
from pitlogger.uplink.joined import joined
from pitlogger_simulators.clock import SimulatedClock
from pitlogger_simulators.demo.desk import Desk
from pitlogger_simulators.demo.show import Show
from pitlogger_simulators.play import Play
from pitlogger_simulators.scenarios.scenario import load
from pitlogger_simulators.stand import Stand
from pitlogger_simulators.story import Story

AFTERWARDS = 60.0  # seconds in a real one, once the cook is over
service.REST_S = 1.0, 1.0  # its own rests are of life's pace


class CookNode(Show):
    """The demo's cook, as one node of a fleet."""

    name: str
    hub: tuple[str, ...]

    def _config_text(self, stand: Stand, sockets: Path, limit: float) -> str:
        tables: dict[str, dict[str, Any]] = {
            "node": {"name": self.name, "data": str(self.folder), "socket": f"{self.folder}/s"},
            "web": {"enabled": len(self.hub) == 1, "host": "127.0.0.1", "port": 0},
        }
        if len(self.hub) == 1:
            tables["hub"] = {"enabled": True, "host": "127.0.0.1", "port": 0, "firm": self.hub[0],
                             "site": "yard"}  # fmt: skip
        return stand.config_text(limit, tables)

    async def _until_heard(
        self, play: Play, stand: Stand, clock: SimulatedClock, daemon: Daemon
    ) -> None:
        await super()._until_heard(play, stand, clock, daemon)
        if len(self.hub) == 2 and joined(self.folder) is None:
            await daemon.uplinking.join(*self.hub)

    async def _document(self, daemon: Daemon, desk: Desk, cook_text: str) -> dict[str, Any]:
        assert isinstance(daemon.clock, SimulatedClock)
        (self.folder / "done").touch()
        while not self.stopping.is_set():
            await asyncio.sleep(0.05)
            daemon.tick(daemon.clock.pump(AFTERWARDS))
        return {}


async def main(folder: Path, name: str, scenario: str, speed: float, *hub: str) -> None:
    """Cook and send until ended."""
    folder.mkdir(parents=True, exist_ok=True)  # noqa: ASYNC240
    chosen = load(scenario)
    story = Story(chosen.file.start.tzinfo)
    show = CookNode(chosen, folder, headless=True, story=story, limit=speed, bluetooth=False)
    show.name, show.hub = name, hub
    for number in (signal.SIGINT, signal.SIGTERM):
        asyncio.get_running_loop().add_signal_handler(number, show.stopping.set)
    await show.run()


if __name__ == "__main__":
    asyncio.run(main(Path(sys.argv[1]), sys.argv[2], sys.argv[3], float(sys.argv[4]),
                     *sys.argv[5:]))  # fmt: skip
