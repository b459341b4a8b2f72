"""The pages about devices name what there is."""

from __future__ import annotations

import re
import textwrap
from pathlib import Path

import pytest

from pitlogger.bootstrap.devices import channels_of, configured_devices
from pitlogger.config import parse_config
from pitlogger.devices.registry import Registry

ROOT = Path(__file__).parents[2]


def test_every_test_named_for_a_bluetooth_trouble_exists() -> None:
    page = (ROOT / "docs" / "bluetooth-troubles.md").read_text(encoding="utf-8")
    tests = "".join(path.read_text("utf-8") for path in (ROOT / "tests/devices").glob("*.py"))
    named = set(re.findall(r"`(test_\w+)`", page))
    assert len(named) > 20
    assert [name for name in sorted(named) if f"def {name}(" not in tests] == []


def test_every_class_named_for_driver_authors_exists() -> None:
    page = (ROOT / "docs" / "writing-a-driver.md").read_text(encoding="utf-8")
    sources = "".join(
        path.read_text("utf-8")
        for folder in ("pitlogger/devices", "pitlogger/testing", "pitlogger/errors.py")
        for path in ([ROOT / folder] if folder.endswith(".py") else (ROOT / folder).rglob("*.py"))
    )
    named = set(re.findall(r"`(?:pitlogger\.testing\.)?([A-Z][A-Za-z]+[a-z])`", page))
    known = {"TeaKettle", "Quality"}
    assert [n for n in sorted(named - known) if f"class {n}" not in sources] == []


PAGES = [ROOT / "docs" / "devices.md", *sorted((ROOT / "drivers").glob("*/*/README.md"))]


def examples() -> list[tuple[str, str]]:
    """Return each indented block that configures a device, with the page it stands in."""
    return [
        (page.parent.name, textwrap.dedent(block))
        for page in PAGES
        for block in re.findall(r"(?:^(?:    .*)?\n)+", page.read_text("utf-8"), re.MULTILINE)
        if "[[device]]" in block
    ]


@pytest.mark.parametrize(("page", "block"), examples())
def test_every_configuration_shown_can_be_used(page: str, block: str) -> None:
    probe = str(ROOT / "tests" / "recordings" / "declared" / "tray-probe.toml")
    block = block.replace("/etc/pitlogger/devices/tray-probe.toml", probe)
    config = parse_config(block, page)
    assert channels_of(config, configured_devices(config)) is not None
    assert config.device


def test_every_driver_has_a_page_that_names_its_own_keys() -> None:
    pages = {page.parent: page.read_text(encoding="utf-8") for page in PAGES[1:]}
    for name in Registry().names():
        driver = Registry().load(name)
        home = Path(driver.__module__.replace(".", "/")).parent
        text = pages[ROOT / "drivers" / home]
        assert f"## The driver `{name}`" in text
        assert "**Unverified**" in text
        common = {"interval_s", "silence_s"}
        own = set(driver.info.config.model_fields) - common
        assert [key for key in sorted(own) if key not in text] == [], name


def test_the_page_of_devices_lists_every_driver() -> None:
    text = PAGES[0].read_text(encoding="utf-8")
    assert [name for name in Registry().names() if f"[`{name}`]" not in text] == []
