"""A hurried kitchen: actions right and wrong in any order, probes that die and jump, every screen.

Whatever people do, nothing breaks: no answer of 500, no fault in the log, every alert has words,
and the record opens again. ``HURRIED=200`` walks so many kitchens.
"""

from __future__ import annotations

import logging
import os
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import Any

import pytest

from pitlogger.clock import rfc3339
from pitlogger.devices.contract import Measurement
from pitlogger.model.cooks import CUTS, WEIGHABLE, Stage
from pitlogger.model.quantities import Quantity
from pitlogger.notify.alert_changes import all_standing
from tests.web.conftest import Node, make_node

KITCHENS = int(os.environ.get("HURRIED", "2"))
STEPS = 25
PROBES = ("c1", "c2", "c3", "c4")
SPANS_S = (1, 5, 60, 600, 600, 1800, 3600, 3 * 3600)
SCREENS = (
    "/", "/weigh", "/temp", "/ahead", "/probes", "/weights", "/checks", "/heard", "/alarms",
    "/uplink", "/plan", "/begin", "/cooks", "/food", "/print", "/settings",
)  # fmt: skip
FACTS = ("/status", "/cooks", "/yields", "/safety", "/log", "/forecasts", "/history")
CONFIG = """
[policy]
stage_from = "{stage_from}"
[[device]]
id = "board"
driver = "csv-line"
port = "{port}"
"""


class Hurried:
    """Somebody who does whatever comes to mind, mostly with what is there."""

    def __init__(self, node: Node, dice: Random) -> None:
        self.node, self.dice = node, dice
        self.entries, self.cooks = ["k7qm-42"], 0
        self.levels_c = {probe: dice.uniform(2.0, 110.0) for probe in PROBES}
        self.done: list[str] = []

    async def ask(self, path: str, **body: Any) -> None:
        """Ask for something; a question is mostly answered with what it offers."""
        said = {name: value for name, value in body.items() if value is not None}
        said["by"] = self.dice.choice(("AB", "CD", ""))
        for _ in range(3):
            answer = await self.node.local.post(f"/api/v1{path}", json=said)
            self.done.append(f"{path} {said}: {answer.status_code} {answer.text[:90]}")
            assert answer.status_code < 500, self.done[-1]
            found = answer.json()
            if answer.status_code != 409 or "confirm" not in found or self.dice.random() < 0.3:
                break
            said["confirm"] = found["confirm"]
        if answer.status_code < 300 and "id" in found:
            self.entries.append(found["id"])

    async def begin(self) -> None:
        """Begin a cook with up to four pieces, most of them with a probe."""
        self.cooks += 1
        probes = self.dice.sample(PROBES, len(PROBES))
        text = f'[cook]\nname = "supper {self.cooks}"\nguests = {self.dice.randint(1, 200)}\n'
        for number in range(self.dice.randint(1, 4)):
            cut = self.dice.choice(tuple(CUTS))
            text += f'[[piece]]\nid = "p{self.cooks}-{number}"\ncut = "{cut}"\n'
            text += self.dice.choice(("", "count = 6\n", 'wrap = "foil"\n', 'wrap_at = "165F"\n'))
            if self.dice.random() < 0.8:
                text += f'[[channel]]\nid = "board/{probes.pop()}"\nsite = "core"\n'
                text += f'piece = "p{self.cooks}-{number}"\n'
        if probes:
            text += f'[[channel]]\nid = "board/{probes.pop()}"\nsite = "pit"\nlow = "210F"\n'
        await self.ask("/cooks", toml=text, at=self.moment())

    async def act(self) -> None:
        """Do one thing."""
        if not self.node.daemon.engine.book.open_cooks() and self.dice.random() < 0.8:
            await self.begin()
            return
        path, make = self.dice.choice(ACTS)
        body = make(self)
        await self.ask(path.format(alert=self.alert(), piece=self.piece()), **body)

    async def wait(self) -> None:
        """Let time pass while probes drift, jump and fall silent, and a battery runs down."""
        span_s = self.dice.choice(SPANS_S)
        step_s = max(1, span_s // 60)
        rates = {probe: self.dice.choice((0.0, 0.0, 0.01, 0.03, -0.05)) for probe in PROBES}
        dead = {probe for probe in PROBES if self.dice.random() < 0.1}
        is_flat = self.dice.random() < 0.1
        daemon = self.node.daemon
        for _ in range(0, span_s, step_s):
            self.node.clock.advance(step_s * 1000)
            daemon.tick(self.node.clock.engine_ms())
            for probe in PROBES:
                level_c = self.levels_c[probe] + rates[probe] * step_s
                if self.dice.random() < 0.01:
                    level_c = self.dice.uniform(-5.0, 130.0)
                self.levels_c[probe] = level_c = min(140.0, max(-10.0, level_c))
                if probe not in dead:
                    measured = Measurement(probe, Quantity.TEMPERATURE, round(level_c, 2), "Cel")
                    daemon.intake.measured("board", measured)
            if is_flat:
                daemon.intake.measured(
                    "board", Measurement("battery", Quantity.BATTERY, 4.0, "%EL")
                )
        self.done.append(f"waited {span_s} s, dead: {sorted(dead)}, flat: {is_flat}")

    async def look(self) -> None:
        """Open some screens and ask for some facts; every alert that stands has words."""
        daemon, cookie = self.node.daemon, self.node.cookie()
        for path in ("/", *self.dice.sample(SCREENS, 3), f"/piece/{self.piece()}"):
            answer = await self.node.network.get(path, headers=cookie)
            assert answer.status_code < 500, f"{path}: {answer.text[:300]}"
        for path in ("/status", *self.dice.sample(FACTS, 2)):
            answer = await self.node.local.get(f"/api/v1{path}")
            assert answer.status_code < 500, f"{path}: {answer.text[:300]}"
        watches = daemon.engine.state.watches.values()
        assert all(each.message for each in all_standing(watches, daemon.policy, daemon.units))

    def piece(self) -> str:
        return self.dice.choice([*self.node.daemon.engine.book.pieces, "nobody"])

    def alert(self) -> str:
        watches = self.node.daemon.engine.state.watches.values()
        standing = [watch.key for watch in watches if watch.state != "normal"]
        return self.dice.choice([*standing, "pit-low/pit"])

    def entry(self) -> str:
        return self.dice.choice(self.entries)

    def moment(self) -> str | None:
        """Return a time of the cook, one long past or one to come; mostly none."""
        if self.dice.random() < 0.6:
            return None
        back_ms = self.dice.choice((60e3, 600e3, 3.6e6, 20e6, 9e7, -3.6e6)) * self.dice.random()
        return rfc3339(self.node.clock.utc_ms() - int(back_ms))

    def mass(self) -> str:
        return self.dice.choice(("131 lb", "0 oz", "3 oz", f"{self.dice.uniform(0.3, 16):.1f} lb"))

    def value(self) -> str:
        return self.dice.choice(("12F", "400F", "-40C", f"{self.dice.randint(30, 210)}F"))

    def stage(self) -> str:
        return self.dice.choice(list(Stage)).value

    def corrected(self) -> dict[str, str]:
        """Return what an entry is corrected to; many do not go with it."""
        what = self.dice.choice(("mass", "value", "stage", "piece"))
        return {what: getattr(self, what)()}


Act = tuple[str, Callable[[Hurried], dict[str, Any]]]
_FOUR = {"cause": "c", "control_restored": "d", "prevention": "p"}
ACTS: tuple[Act, ...] = (
    *(("/stages", lambda h: {"piece": h.piece(), "stage": h.stage(), "at": h.moment()}),) * 6,
    *(("/weighings", lambda h: {
        "piece": h.piece(), "checkpoint": h.dice.choice(WEIGHABLE), "mass": h.mass(),
        "at": h.moment(),
    }),) * 4,
    *(("/temps", lambda h: {"piece": h.piece(), "value": h.value(), "at": h.moment()}),) * 4,
    ("/temps", lambda h: {"site": "cold", "value": h.value()}),
    *(("/undo", lambda h: {"entry": h.dice.choice((None, h.entry())), "reason": "slip"}),) * 2,
    *(("/corrections", lambda h: {"entry": h.entry(), "reason": "slip", **h.corrected()}),) * 3,
    ("/log/corrective", lambda h: {
        "piece": h.piece(), "reading": h.value(), **_FOUR,
        "disposition": h.dice.choice(("discarded", "reheated", "kept", "eaten")),
    }),
    ("/notes", lambda h: {"text": h.dice.choice(("<b>fire</b>", "\u202ertl", "\N{FIRE}" * 20))}),
    ("/targets", lambda h: {"piece": h.piece(), "wrap_at": "never", "pull_at": h.value()}),
    ("/receipts", lambda h: {"piece": h.piece(), "value": h.value(), "accepted": True}),
    ("/time-controls", lambda h: {"piece": h.piece(), "hours": h.dice.choice((4, 6))}),
    ("/pieces/{piece}/split", lambda h: {"into": [
        {"id": f"s{len(h.done)}", "cut": "brisket-point"},
        {"id": f"t{len(h.done)}", "cut": "brisket-flat"},
    ]}),
    ("/merge", lambda h: {
        "pieces": [h.piece(), h.piece()], "into": {"id": f"m{len(h.done)}", "cut": "other"},
    }),
    ("/pieces", lambda h: {"piece": {"id": f"n{len(h.done)}", "cut": "tri-tip"}}),
    ("/assignments", lambda h: {"channel": {
        "id": f"board/{h.dice.choice(PROBES)}", "site": "core", "piece": h.piece(),
    }}),
    ("/moves", lambda h: {"channel": f"board/{h.dice.choice(PROBES)}"}),
    ("/doubts", lambda h: {
        "channel": f"board/{h.dice.choice(PROBES)}", "doubt": h.dice.choice(("right", "wrong")),
    }),
    *(("/alerts/{alert}/acknowledge", lambda h: {}),) * 2,
    ("/alerts/{alert}/answer", lambda h: {"reason": h.dice.choice(("yes", "no", "not yet"))}),
    ("/alerts/{alert}/shelve", lambda h: {"minutes": 30, "reason": "known"}),
    ("/alerts/{alert}/reset", lambda h: {"reason": "settled"}),
    ("/learning", lambda h: {"entry": h.entry(), "teaches": False, "reason": "guests cut it"}),
    ("/cooks/withdraw", lambda h: {"cook": f"supper {h.cooks}", "reason": "a trial"}),
    *(("/cooks/finish", lambda h: {
        "disposition": h.dice.choice((None, "discarded", "kept")), "reason": "as seen",
    }),) * 2,
)  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(KITCHENS))
async def test_whatever_a_kitchen_does_nothing_breaks(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, seed: int
) -> None:
    dice = Random(seed)
    more = CONFIG.format(
        stage_from=dice.choice(("person", "asked", "taken")), port=tmp_path / "none"
    )
    async with make_node(tmp_path / "data", more) as node:
        hurried = Hurried(node, dice)
        await hurried.begin()
        for _ in range(STEPS):
            await hurried.act()
            await hurried.act()
            await hurried.wait()
            await hurried.look()
            faults = [one for one in caplog.records if one.levelno >= logging.ERROR]
            assert not faults, (faults[0].getMessage(), faults[0].exc_text, hurried.done[-6:])
    async with make_node(tmp_path / "data", more) as again:
        await Hurried(again, dice).look()
