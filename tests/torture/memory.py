"""Memory that runs out: a small, slow computer, then none left at all for a while.

The limits are those of setrlimit(2): ``RLIMIT_DATA`` for memory, one core. A process that does
not survive is started again, as systemd does.
"""

from __future__ import annotations

import resource
import sys
import time
from pathlib import Path
from random import Random

from pitlogger.store import Reader
from tests.torture.ledger import COUNT, RAW_PER_READING, faults_of, held_in, writing
from tests.torture.node import PITLOGGER, Node, node, until
from tests.torture.row import Row

BOARD_BYTES = 512_000_000
NONE_LEFT_S = 4.0
BACK_S = 15.0
_BEGIN = (
    "import os, resource, sys;"
    " os.sched_setaffinity(0, {min(os.sched_getaffinity(0))});"
    f" resource.setrlimit(resource.RLIMIT_DATA, ({BOARD_BYTES}, {BOARD_BYTES}));"
    " os.execv(sys.argv[1], sys.argv[1:])"
)


def memory(folder: Path, times: int, seed: int) -> Row:
    """Run a node on one core and 512 MB; take all that is left ``times`` times."""
    dice = Random(seed)
    faults: list[str] = []
    died = told = 0
    with node(folder) as tight:
        _start(tight)
        tight.start_cook()
        with writing(tight, seed, pause_s=0.1) as writer:
            until("the board is heard", lambda: len(tight.board.sent) > 20)
            rss_mb = _status_bytes(tight, "VmRSS") / 1e6
            for _ in range(times):
                _take(tight, dice.choice((0, 64_000, 1_000_000)))
                end_s = time.monotonic() + NONE_LEFT_S
                while time.monotonic() < end_s and _lives(tight):
                    time.sleep(0.1)
                if _lives(tight):
                    _give(tight)
                    time.sleep(0.5)
                if not _lives(tight):
                    died += 1
                    tight.kill()
                    _start(tight)
                now = len(writer.ledger.told)
                until("it goes on", lambda now=now: len(writer.ledger.told) > now + 3, BACK_S)
                sent = len(tight.board.sent)
                until("readings are kept", lambda sent=sent: _kept(tight) > sent, BACK_S)
            told = tight.log_text().count("no memory left")
        code, took_s = tight.stop()
        if code or took_s > 2:
            faults.append(f"ended with {code} after {took_s:.1f} s")
        faults += faults_of(held_in(tight.database), writer.ledger)
        faults += [f"refused: {text}" for text in writer.refused]
    shown = f"{rss_mb:.0f} MB; started again {died} times, {told} times told by the writer"
    what = f"one core, 512 MB; {times} times none left for {NONE_LEFT_S:g} s"
    return Row("memory", what, times, faults, shown, seed)


def _start(tight: Node) -> None:
    run = [PITLOGGER, "run", "--config", str(tight.config)]
    tight.start(command=[sys.executable, "-c", _BEGIN, *run])


def _lives(tight: Node) -> bool:
    return tight.process is not None and tight.process.poll() is None


def _take(tight: Node, spare_bytes: int) -> None:
    """Leave the process ``spare_bytes`` beside what it has."""
    assert tight.process is not None
    limit = _status_bytes(tight, "VmData") + spare_bytes
    resource.prlimit(tight.process.pid, resource.RLIMIT_DATA, (limit, BOARD_BYTES))


def _give(tight: Node) -> None:
    assert tight.process is not None
    resource.prlimit(tight.process.pid, resource.RLIMIT_DATA, (BOARD_BYTES, BOARD_BYTES))


def _kept(tight: Node) -> int:
    """Return the number of the last reading on disk."""
    with Reader.open(tight.database) as reader:
        run = reader.runs()[-1].run
        raws = [row.raw for row in reader.readings([COUNT], 0, 1 << 60, run=run)]
    return max((raw // RAW_PER_READING for raw in raws if raw is not None), default=0)


def _status_bytes(tight: Node, name: str) -> int:
    assert tight.process is not None
    status = Path(f"/proc/{tight.process.pid}/status").read_text(encoding="ascii")
    return int(status.partition(f"{name}:")[2].split()[0]) * 1024
