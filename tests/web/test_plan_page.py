"""The Plan screen answers for one cut and for a menu as the command line does."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime

import pytest
from click.testing import CliRunner

from pitlogger.cli.ahead.plan import plan
from pitlogger.views.shown import Shown
from pitlogger.web.page.ahead.plan import plan_screen
from tests.web.conftest import Node

MENU = {
    "guests": "45", "portion": "5 oz", "cut": "brisket-packer", "share": "60", "price": "4.29/lb",
    "cut-2": "pork-butt", "share-2": "40", "price-2": "2.19/lb", "target": "30",
    "serve_at": "2026-09-19T18:00-05:00",
}  # fmt: skip


def _command(*options: str) -> dict[str, object]:
    done = CliRunner().invoke(plan, [*options, "--json"])
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)  # type: ignore[no-any-return]


async def _planned(node: Node, query: dict[str, str]) -> dict[str, object]:
    units = node.daemon.units
    return await plan_screen(node.daemon, Shown(units, node.clock.engine_ms()), query)


async def test_a_menu_is_bought_as_the_command_line_says(node: Node) -> None:
    made = await _planned(node, MENU)
    said = _command("--guests", "45", "--portion", "5 oz", "--menu",
                    "brisket-packer:60%,pork-butt:40%")  # fmt: skip
    assert [(d["cut"], d["pieces"]) for d in made["dishes"]] == [  # type: ignore[attr-defined]
        (d["cut"], d["pieces"])
        for d in said["shopping"]  # type: ignore[attr-defined]
    ]


async def test_a_menu_has_one_schedule_and_one_fire(node: Node) -> None:
    made = await _planned(node, MENU)
    events = made["events"]
    assert isinstance(events, list)
    assert [event["iso"] for event in events] == sorted(event["iso"] for event in events)
    assert sum(event["what"] == "light the fire" for event in events) == 1
    assert {"brisket-1", "butt-1"} <= {piece for event in events for piece in event["pieces"]}


async def test_the_price_of_a_menu_is_all_that_is_bought_by_the_guest(node: Node) -> None:
    made = await _planned(node, MENU)
    prices = dict(made["prices"])  # type: ignore[call-overload]
    total, guest, asked = (
        float(prices[what].split()[0])
        for what in (
            "raw meat, all of it", "meat for a guest, leftovers too",
            "price for a guest at 30 % food cost",
        )
    )  # fmt: skip
    assert guest == pytest.approx(total / 45, abs=0.01)
    assert asked == pytest.approx(guest / 0.30, abs=0.02)


async def test_a_share_that_is_missing_is_asked_for(node: Node) -> None:
    made = await _planned(node, {**MENU, "share-2": ""})
    assert made["fault"] == "pork-butt: give its share of each plate, such as 60 %"


async def test_a_plan_begins_a_cook_of_all_its_cuts(node: Node) -> None:
    made = await _planned(node, MENU)
    text = (await node.local.get(f"/begin?{made['begin']}")).text
    assert 'value="brisket-packer" selected>Whole brisket' in text
    assert '"pork-butt" selected>' in text.partition('name="cut-2"')[2]


async def test_portions_by_count_have_a_price_too(node: Node) -> None:
    made = await _planned(
        node, {"guests": "20", "portion": "3 bones", "cut": "pork-spareribs", "price": "3.49/lb"}
    )
    assert made["fault_later"] is None
    assert made["prices"]


async def test_what_is_to_be_done_goes_into_a_calendar(node: Node) -> None:
    query = {**MENU, "serve_at": "2026-09-19T18:00"}
    made = await _planned(node, query)
    answer = await node.local.get("/plan.ics", params=query)
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    moments = re.findall(r"DTSTART:(\d{8}T\d{6})Z", answer.text)
    events = made["events"]
    assert len(moments) == len(events) > 5  # type: ignore[arg-type]
    last = datetime.fromisoformat(events[-1]["iso"]).astimezone(UTC)  # type: ignore[index]
    assert moments[-1] == f"{last:%Y%m%dT%H%M%S}"


async def test_without_a_time_to_serve_there_is_no_calendar(node: Node) -> None:
    query = {name: value for name, value in MENU.items() if name != "serve_at"}
    answer = await node.local.get("/plan.ics", params=query)
    assert answer.status_code == 422
    assert "Say when it is served" in answer.text
