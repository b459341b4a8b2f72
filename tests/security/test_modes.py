"""Who may read and write what a running node leaves on the disk."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.torture.node import Node, node


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Node]:
    mask = os.umask(0o022)  # as a shell has it
    try:
        with node(tmp_path) as made:
            made.start()
            made.start_cook()
            yield made
    finally:
        os.umask(mask)


@pytest.mark.slow
def test_nobody_outside_the_group_reads_the_record_or_reaches_the_socket(running: Node) -> None:
    found = {path: stat.S_IMODE(path.stat().st_mode) for path in running.data.rglob("*")}
    assert {path.name for path in found} >= {"pitlogger.db", "pitlogger.sock"}
    open_to_others = {str(path): oct(mode) for path, mode in found.items() if mode & 0o007}
    assert open_to_others == {}
    assert found[running.socket] == 0o660
    assert stat.S_IMODE(running.data.stat().st_mode) & 0o007 == 0


@pytest.mark.slow
def test_no_secret_stands_in_the_arguments_of_the_process(running: Node) -> None:
    assert running.process is not None
    words = Path(f"/proc/{running.process.pid}/cmdline").read_bytes().split(b"\0")
    assert words[-3:-1] == [b"--config", str(running.config).encode()]


@pytest.mark.slow
def test_a_secret_that_everybody_may_read_keeps_the_daemon_from_starting(tmp_path: Path) -> None:
    import subprocess

    from tests.torture.node import PITLOGGER

    secret = tmp_path / "password"
    secret.write_text("hunter2-but-longer")
    secret.chmod(0o644)
    config = tmp_path / "c.toml"
    config.write_text(
        f'[node]\ndata = "{tmp_path}/data"\n[mqtt]\npassword_file = "{secret}"\n', encoding="utf-8"
    )
    done = subprocess.run(
        [PITLOGGER, "run", "--config", str(config)], check=False, capture_output=True, text=True
    )
    assert done.returncode == 2
    assert f"chmod o-r {secret}" in done.stderr
    assert "hunter2" not in done.stderr + done.stdout
