"""First steps on the page: kept beside the record, under what the configuration says itself."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import httpx
import pytest

from pitlogger.config import Config, load_config
from pitlogger.errors import ConfigError
from pitlogger.model.journal import Noted
from pitlogger.web.access.roles import Role
from tests.web.conftest import Node, config_text, make_node

JSON = {"Accept": "application/json"}


async def do(node: Node, name: str, /, **fields: str) -> httpx.Response:
    return await node.local.post(f"/do/{name}", data=fields, headers=JSON)


def read(folder: Path, more: str = "") -> Config:
    """Return what a start of the daemon reads."""
    file = folder / "pitlogger.toml"
    file.write_text(config_text(folder, more))
    return load_config(file)


async def test_what_is_set_counts_at_once_and_after_a_start(node: Node, tmp_path: Path) -> None:
    answer = await do(
        node, "set-units", **{"degrees-in": "C", "masses-in": "kg", "money-in": "EUR"}
    )
    assert answer.json()["said"] == "This node speaks in C and kg."
    assert node.daemon.units.temperature == "C"
    await do(node, "set-premises", name="Smoke & Sons", permit="MFU-204")
    await do(node, "set-way", id="kitchen", url="http://127.0.0.1:2586/pit-7f3a")
    kept = read(tmp_path)
    assert (kept.units.temperature, kept.units.mass, kept.units.currency) == ("C", "kg", "EUR")
    assert (kept.premises.name, kept.premises.permit) == ("Smoke & Sons", "MFU-204")
    assert [way.id for way in kept.notify.way] == ["kitchen"]
    assert (tmp_path / "page.toml").stat().st_mode & 0o077 == 0
    page = await node.local.get("/first")
    assert "Smoke &amp; Sons" in page.text
    assert "Tell kitchen no more" in page.text


async def test_how_name_zone_and_clock_are_set_stands_in_words(node: Node) -> None:
    page = (await node.local.get("/first")).text
    for said in ("This node is called barn", "whoever keeps the board", "The guide to the service"):
        assert said in page


async def test_each_setting_has_its_undo(node: Node) -> None:
    for name, fields in (
        ("set-units", {"degrees-in": "C", "masses-in": "g"}),
        ("set-policy", {"policy": "home"}),
        ("set-premises", {"person_in_charge": "B. Ash"}),
        ("set-way", {"id": "kitchen", "url": "http://127.0.0.1:2586/pit"}),
    ):
        before = node.daemon.config
        undo = (await do(node, name, **fields)).json()["undo"]
        assert node.daemon.config != before
        assert (await do(node, undo["action"], **undo["fields"])).status_code == 200
        for table in ("units", "policy", "premises", "notify"):
            assert getattr(node.daemon.config, table) == getattr(before, table)


async def test_what_the_configuration_says_itself_is_left_alone(tmp_path: Path) -> None:
    more = '[units]\ntemperature = "F"\n[policy]\nname = "home"\n'
    async with make_node(tmp_path, more) as node:
        refused = await do(node, "set-units", **{"degrees-in": "C"})
        assert refused.status_code == 409
        assert "stands in the configuration file" in refused.json()["error"]
        assert node.daemon.config.units.temperature == "F"
        assert (await do(node, "set-premises", name="Smoke & Sons")).status_code == 200
    assert read(tmp_path, more).units.temperature == "F"
    assert read(tmp_path, more).policy.name == "home"


@pytest.mark.parametrize(
    ("name", "fields", "field"),
    [
        ("set-way", {"id": "kitchen", "url": "not an address"}, "url"),
        ("set-way", {"id": "no good name!", "url": "http://127.0.0.1:2586/pit"}, "id"),
        ("set-units", {"degrees-in": "K"}, "degrees-in"),
        ("set-premises", {"name": "x" * 121}, "name"),
        ("set-policy", {"policy": "none at all"}, "policy"),
    ],
)
async def test_a_wrong_value_is_told_at_its_field_and_nothing_is_kept(
    node: Node, tmp_path: Path, name: str, fields: dict[str, str], field: str
) -> None:
    answer = await do(node, name, **fields)
    assert (answer.status_code, answer.json()["field"]) == (400, field)
    assert not (tmp_path / "page.toml").exists()


async def test_another_policy_is_asked_about_while_a_cook_is_open(node: Node) -> None:
    await node.begin()
    asked = await do(node, "set-policy", policy="home")
    assert asked.status_code == 409
    assert "A cook is open" in asked.json()["question"]
    assert node.daemon.config.policy.name == "retail-food-code"
    done = await do(node, "set-policy", policy="home", confirm=asked.json()["confirm"])
    assert done.status_code == 200
    notes: list[Any] = [entry.body for entry in node.daemon.engine.state.entries]
    changed = "food-safety policy changed from retail-food-code to home"
    assert changed in [note.text for note in notes if isinstance(note, Noted)]


async def test_only_an_owner_sets_the_node_up(node: Node) -> None:
    sent = {"degrees-in": "C"}
    hands = await node.network.post("/do/set-units", data=sent, headers=node.cookie(Role.HANDS))
    assert hands.status_code == 403
    assert node.daemon.config.units.temperature == "F"


def test_a_broken_file_stops_no_start(tmp_path: Path) -> None:
    (tmp_path / "page.toml").write_text('[units]\ntemperature = "warm"\n')
    (tmp_path / "devices.d").mkdir()
    (tmp_path / "devices.d" / "tray.toml").write_text("\0\0\0")
    with pytest.raises(ConfigError, match=r"tray\.toml"):
        read(tmp_path)
    faults: list[str] = []
    kept = load_config(tmp_path / "pitlogger.toml", faults)
    assert kept.units.temperature == "F"
    assert ["tray.toml" in fault or "page.toml" in fault for fault in faults] == [True, True]
