"""The texts put in place: as kept in the folder for copying, and as hard as promised."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from pitlogger.service.unit import PROGRAM, groups_here, places, rules, unit

ROOT = Path(__file__).parents[2]
EXPOSURE = 2.0
needs_systemd = pytest.mark.skipif(
    shutil.which("systemd-analyze") is None, reason="systemd-analyze is missing"
)


def test_the_folder_holds_the_same_texts() -> None:
    assert (ROOT / "config/pitlogger.service").read_text(encoding="utf-8") == unit()
    assert (ROOT / "config/99-pitlogger.rules").read_text(encoding="utf-8") == rules()


def test_nothing_is_left_to_fill_in() -> None:
    for groups in ((), ("dialout",), groups_here()):
        assert "@PROGRAM@" not in unit(PROGRAM, groups)
        assert "@GROUPS@" not in unit(PROGRAM, groups)


def test_groups_the_host_does_not_have_are_not_named() -> None:
    assert "SupplementaryGroups" not in unit(groups=())
    assert "SupplementaryGroups=dialout gpio\n" in unit(groups=("dialout", "gpio"))


@needs_systemd
def test_the_exposure_is_at_most_two(tmp_path: Path) -> None:
    file = tmp_path / "pitlogger.service"
    file.write_text(unit("/usr/bin/true"), encoding="utf-8")
    told = subprocess.run(
        ["systemd-analyze", "security", "--offline=true", str(file)],
        check=False, capture_output=True, text=True,
    ).stdout  # fmt: skip
    found = re.search(r"exposure level for \S+: ([\d.]+)", told)
    assert found is not None, told
    assert float(found[1]) <= EXPOSURE


@needs_systemd
def test_systemd_understands_every_line(tmp_path: Path) -> None:
    file = tmp_path / "pitlogger.service"
    file.write_text(unit("/usr/bin/true", ()), encoding="utf-8")
    told = subprocess.run(
        ["systemd-analyze", "verify", str(file)], check=False, capture_output=True, text=True
    ).stderr
    assert "pitlogger.service:" not in told


def test_the_rules_start_no_program() -> None:
    assert "RUN+=" not in rules()
    assert "PROGRAM" not in rules()


def test_texts_go_where_an_administrator_looks() -> None:
    assert sorted(map(str, places().values())) == [
        "/etc/systemd/system/pitlogger.service",
        "/etc/udev/rules.d/99-pitlogger.rules",
    ]
