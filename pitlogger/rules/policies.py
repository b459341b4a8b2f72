"""What the rules go by: how each alert behaves, and the targets of each cut.

Values alone; ``build`` makes them from the texts in ``policy`` and those of a person's own that
the composition root hands in.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from pitlogger.errors import ConfigError
from pitlogger.model.alerts import Priority
from pitlogger.model.cooks import CUTS, NEVER, Cook, Piece, Wrap
from pitlogger.model.kitchen import WORKS, KitchenTimes
from pitlogger.model.portions import SERVICE_KINDS, PortionPractice, ServiceKind
from pitlogger.model.quantities import (
    milli_c_from_fahrenheit,
    parse_duration_ms,
    parse_mass_mg,
    parse_temperature_mc,
)

if TYPE_CHECKING:
    from pitlogger.formats.policy_file import Source

# FDA Food Code 3-501.16(A)(1), hot holding at 135 F (57 C) or above.
HOT_HOLD_LIMIT_MC = milli_c_from_fahrenheit(135.0)
# USDA consumer hot-holding figure; here a warning, not a limit.
HOT_HOLD_NEAR_MC = milli_c_from_fahrenheit(140.0)
# Rested enough to slice: common practice, no source.
REST_UNTIL_MC = milli_c_from_fahrenheit(150.0)


@dataclass(frozen=True, slots=True)
class AlertRule:
    """How one kind of alert behaves, and what it says to a person.

    ``deadband_mc`` widens only the return side: raised at the limit, cleared beyond it.
    A ``notice`` settles by itself when its condition is gone. A ``momentary`` one has no
    lasting condition: acknowledging it settles it.
    """

    kind: str
    priority: Priority
    wakes: bool
    cause: str
    consequence: str
    remedy: str
    act_within: str
    latching: bool = False
    notice: bool = False
    momentary: bool = False
    on_delay_ms: int = 0
    off_delay_ms: int = 0
    deadband_mc: int = 0
    realarm_ms: int | None = None
    shelf_max_ms: int = 4 * 3_600_000
    source: str = ""


@dataclass(frozen=True, slots=True)
class CutTargets:
    """When a cut is wrapped, tried and taken off (milli-degC), and what it weighs (mg)."""

    cut: str
    wrap_at_mc: int | None = None
    tender_check_mc: int | None = None
    pull_at_mc: int | None = None
    wrap: Wrap = "none"
    mass_mg: int | None = None
    mass_sd_mg: int | None = None
    source: str = ""


@dataclass(frozen=True, slots=True)
class TimerRule:
    """Something that is done again and again; it runs where ``every_ms`` is known."""

    name: str
    on: Literal["piece", "pit"]
    every_ms: int | None
    first_ms: int
    cause: str
    remedy: str
    source: str = ""


StageFrom = Literal["person", "asked", "taken"]


@dataclass(frozen=True, slots=True)
class RulePolicy:
    """Everything the rules go by. Limits in milli-degrees Celsius.

    ``stage_from`` says who sets stages: a person alone, a person who is asked what it looks
    like, or recognition itself where it is surer than ``stage_chance``.
    """

    rules: dict[str, AlertRule]
    cuts: dict[str, CutTargets]
    kitchen: KitchenTimes
    timers: dict[str, TimerRule] = field(default_factory=dict)
    hot_hold_limit_mc: int = HOT_HOLD_LIMIT_MC
    hot_hold_near_mc: int = HOT_HOLD_NEAR_MC
    rest_until_mc: int = REST_UNTIL_MC
    stage_from: StageFrom = "person"
    stage_chance: float = 0.9

    def wrap_at_mc(self, piece: Piece) -> int | None:
        """Return when a piece is to be wrapped, ``None`` for never."""
        if piece.wrap_at_mc == NEVER or piece.wrap == "none":
            return None
        if piece.wrap_at_mc is not None:
            return piece.wrap_at_mc
        return self.cuts[piece.cut].wrap_at_mc

    def pull_at_mc(self, piece: Piece) -> int | None:
        """Return when a piece is to come off the pit, ``None`` where no policy knows."""
        return self.cuts[piece.cut].pull_at_mc if piece.pull_at_mc is None else piece.pull_at_mc

    def timer_every_ms(self, name: str, cook: Cook) -> int | None:
        """Return how often a timer falls due in a cook, ``None`` where it does not run."""
        said = dict(cook.timers).get(name, self.timers[name].every_ms)
        return said or None

    def wrap_kind(self, piece: Piece) -> Wrap:
        """Return what a piece is to be wrapped in."""
        return piece.wrap or self.cuts[piece.cut].wrap


class Texts(NamedTuple):
    """The TOML texts of a policy; ``None`` for one that a person has not written."""

    alerts: Source | None = None
    targets: Source | None = None
    timers: Source | None = None
    kitchen: Source | None = None


@cache
def shipped(name: str) -> Source:
    """Return a policy text that comes with pitlogger: ``kitchen``, ``targets``, ..."""
    from pitlogger.formats.policy_file import Source

    file = f"{name}.toml"
    return Source((files("pitlogger.rules") / "policy" / file).read_text(encoding="utf-8"), file)


# What a plan reads of the files that come with pitlogger, without the models that check a person's
# own: loading those takes longer than the plan. A test holds both to the same values.


def _shipped_tables(name: str) -> dict[str, Any]:
    return tomllib.loads((files("pitlogger.rules") / "policy" / f"{name}.toml").read_text("utf-8"))


@cache
def shipped_kitchen() -> KitchenTimes:
    """Return the times of work that come with pitlogger."""
    tables = _shipped_tables("kitchen")
    return KitchenTimes(*(parse_duration_ms(tables[work]["takes"]) for work in WORKS))


@cache
def shipped_portions() -> dict[ServiceKind, PortionPractice]:
    """Return what guests are usually given, by kind of service."""
    return {
        kind: PortionPractice(
            parse_mass_mg(table["usual"]) / 1000, parse_mass_mg(table["least"]) / 1000,
            table["spread_pct"] / 100, table["source"],
        )
        for kind, table in _shipped_tables("portions").items()
        if kind in SERVICE_KINDS
    }  # fmt: skip


def portion_changes(sides: int | None, hour: int | None) -> list[tuple[float, str]]:
    """Return what sides and the hour of serving do to a usual portion: factors, with why."""
    found = []
    for change in _shipped_tables("portions")["change"]:
        low, high = change["from"], change["to"]
        told = sides if change["of"] == "sides" else hour
        if told is not None and low <= told <= high:
            found.append((change["factor"], f"{change['what']}: {change['source']}"))
    return found


@cache
def shipped_cuts() -> dict[str, CutTargets]:
    """Return the targets of each cut that come with pitlogger."""
    return {cut: _shipped_cut(cut, table) for cut, table in _shipped_tables("targets").items()}


def _shipped_cut(cut: str, table: dict[str, Any]) -> CutTargets:
    wrap_at, check_at, pull_at = (
        parse_temperature_mc(table[key]) if key in table else None
        for key in ("wrap_at", "tender_check_at", "pull_at")
    )
    mass, mass_sd = (
        parse_mass_mg(table[key]) if key in table else None for key in ("mass", "mass_sd")
    )
    source = table.get("source", "common practice, no source")
    return CutTargets(
        cut, wrap_at, check_at, pull_at, table.get("wrap", "none"), mass, mass_sd, source
    )


# What a file writes with its unit is held here in one unit.
_HELD_AS = {
    "on_delay": "on_delay_ms", "off_delay": "off_delay_ms", "deadband": "deadband_mc",
    "realarm": "realarm_ms", "shelf_max": "shelf_max_ms", "every": "every_ms", "first": "first_ms",
    "wrap_at": "wrap_at_mc", "tender_check_at": "tender_check_mc", "pull_at": "pull_at_mc",
    "mass": "mass_mg", "mass_sd": "mass_sd_mg",
}  # fmt: skip


def _in_units(table: Iterable[tuple[str, Any]]) -> dict[str, Any]:
    """Return the values of a policy table by the names of the fields that hold them."""
    return {_HELD_AS.get(key, key): value for key, value in table}


def cuts_of(own: Source | None = None) -> dict[str, CutTargets]:
    """Return the targets of each cut, overlaid by a person's own.

    Raises:
        ConfigError: An unknown key or cut, a value that cannot be read, a cut without a table.
    """
    from pitlogger.formats.policy_file import parse_targets

    cuts = {
        cut: CutTargets(cut=cut, **_in_units(table))
        for cut, table in parse_targets(shipped("targets"), own).items()
    }
    if missing := CUTS.keys() - cuts.keys():
        raise ConfigError(f"targets.toml: no table for {', '.join(sorted(missing))}")
    return cuts


def build(own: Texts) -> RulePolicy:
    """Return the policy that comes with pitlogger, overlaid by a person's own texts.

    Raises:
        ConfigError: An unknown key, kind or cut, or a value that cannot be read.
    """
    from pitlogger.formats.policy_file import parse_alerts, parse_kitchen, parse_timers

    rules = {
        kind: AlertRule(
            kind=kind, **_in_units(table) | {"priority": Priority[table.priority.upper()]}
        )
        for kind, table in parse_alerts(shipped("alerts"), own.alerts).items()
    }
    routines = {
        name: TimerRule(name=name, **_in_units(table))
        for name, table in parse_timers(shipped("timers"), own.timers).items()
    }
    kitchen = parse_kitchen(shipped("kitchen"), own.kitchen)
    return RulePolicy(rules, cuts_of(own.targets), kitchen, routines)
