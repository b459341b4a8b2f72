"""A private message bus: ``dbus-daemon`` in a temporary directory.

Put its address into ``DBUS_SYSTEM_BUS_ADDRESS`` before a client opens its first bus.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pitlogger.errors import RefusedError

_CONFIG = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <type>system</type>
  <listen>unix:path={directory}/bus</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow user="*"/><allow own="*"/>
    <allow send_destination="*" eavesdrop="true"/><allow eavesdrop="true"/>
  </policy>
</busconfig>
"""


def available() -> bool:
    """Tell whether the program ``dbus-daemon`` is installed."""
    return shutil.which("dbus-daemon") is not None


@contextmanager
def private_bus() -> Iterator[str]:
    """Run a message bus of one's own and yield its address; it ends with the block.

    Raises:
        RefusedError: ``dbus-daemon`` is missing or does not start.
    """
    program = shutil.which("dbus-daemon")
    if program is None:
        raise RefusedError(
            "the simulated Bluetooth service needs the program dbus-daemon, which is not "
            "installed; on Debian: sudo apt-get install dbus-daemon"
        )
    with tempfile.TemporaryDirectory(prefix="pitlogger-bus-") as directory:
        config = Path(directory) / "bus.conf"
        config.write_text(_CONFIG.format(directory=directory), encoding="utf-8")
        with subprocess.Popen(  # noqa: S603 - the program found on the path, fixed arguments
            [program, f"--config-file={config}", "--nofork", "--print-address"],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        ) as process:
            try:
                assert process.stdout is not None
                address = process.stdout.readline().strip()
                if not address:
                    raise RefusedError(f"{program} did not start")
                yield address
            finally:
                process.terminate()
