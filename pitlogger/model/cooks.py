"""Cooks, pieces, stages, checkpoints: the words of the trade."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Literal

from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Site

# Each cut belongs to a family; cooks of one family learn from each other.
CUTS: dict[str, str] = {
    "brisket-packer": "brisket",
    "brisket-flat": "brisket",
    "brisket-point": "brisket",
    "burnt-ends": "brisket",
    "pork-butt": "pork-shoulder",
    "pork-picnic": "pork-shoulder",
    "pork-belly": "pork-belly",
    "pork-spareribs": "pork-ribs",
    "pork-st-louis": "pork-ribs",
    "pork-baby-back": "pork-ribs",
    "beef-ribs": "beef-ribs",
    "beef-chuck": "beef-roast",
    "tri-tip": "beef-roast",
    "chicken-whole": "chicken",
    "chicken-half": "chicken",
    "chicken-quarter": "chicken",
    "chicken-thigh": "chicken",
    "turkey-whole": "turkey",
    "turkey-breast": "turkey",
    "lamb-shoulder": "lamb",
    "sausage": "sausage",
    "other": "other",
}
POULTRY = frozenset({"chicken", "turkey"})


class Stage(StrEnum):
    """What is happening to a piece."""

    RAW = "raw"
    THAWING = "thawing"
    BRINING = "brining"
    TRIMMED = "trimmed"
    SEASONED = "seasoned"
    SMOKING = "smoking"
    WRAPPED = "wrapped"
    RESTING = "resting"
    HOLDING = "holding"
    IN_TRANSIT = "in-transit"
    SERVING = "serving"
    CARVED = "carved"
    SERVED = "served"
    COOLING = "cooling"
    CHILLED = "chilled"
    REHEATING = "reheating"
    DISCARDED = "discarded"


STAGE_ALIASES = {"sliced": Stage.CARVED, "pulled": Stage.CARVED, "chopped": Stage.CARVED}
BEFORE_FIRE = frozenset({Stage.RAW, Stage.THAWING, Stage.BRINING, Stage.TRIMMED, Stage.SEASONED})
ON_PIT = frozenset({Stage.SMOKING, Stage.WRAPPED})
# Cooked and off the pit: hot-holding limits apply whatever the stage is called.
HOT_OFF_PIT = frozenset(
    {Stage.RESTING, Stage.HOLDING, Stage.IN_TRANSIT, Stage.SERVING, Stage.CARVED}
)
# Food in these cannot be held by time; held by time it may not come back to those that follow:
# what is left of it is thrown away.
NOT_BY_TIME = BEFORE_FIRE | ON_PIT | {Stage.REHEATING, Stage.SERVED, Stage.DISCARDED}
BACK = ON_PIT | {Stage.COOLING, Stage.CHILLED, Stage.REHEATING}
_COOKED = frozenset(set(Stage) - BEFORE_FIRE - ON_PIT)
_BACK_ON_PIT = frozenset({Stage.RESTING, Stage.HOLDING, Stage.IN_TRANSIT})
_NEXT: dict[Stage, frozenset[Stage]] = {
    **dict.fromkeys(BEFORE_FIRE, frozenset(set(Stage) - {Stage.REHEATING})),
    **dict.fromkeys(ON_PIT, frozenset(set(Stage) - BEFORE_FIRE)),
    **dict.fromkeys(_COOKED, _COOKED),
    **dict.fromkeys(_BACK_ON_PIT, _COOKED | ON_PIT),
    Stage.DISCARDED: frozenset({Stage.DISCARDED}),
}


def may_follow(earlier: Stage, later: Stage) -> bool:
    """Return whether a piece can go from one stage to another.

    Stages may be skipped and repeated, but cooked meat does not become raw, what was carved,
    served or cooled does not go back on the pit, and what is discarded stays so.
    """
    return later in _NEXT[earlier]


class Checkpoint(StrEnum):
    """A weighing that counts for yield, in the order of a cook."""

    LABEL = "label"
    PURCHASED = "purchased"
    THAWED = "thawed"
    BRINED = "brined"
    TRIMMED = "trimmed"
    SEASONED = "seasoned"
    ON_PIT = "on-pit"
    AT_WRAP = "at-wrap"
    UNWRAPPED = "unwrapped"
    OFF_PIT = "off-pit"
    RESTED = "rested"
    OUT_OF_HOLD = "out-of-hold"
    CARVED = "carved"
    SAUCED = "sauced"
    SERVED = "served"
    LEFTOVER = "leftover"


class ByProduct(StrEnum):
    """What leaves a piece and is weighed by itself."""

    PURGE = "purge"
    TRIM_FAT = "trim-fat"
    TRIM_LEAN = "trim-lean"
    BONE = "bone"
    SKIN = "skin"
    DRIPPINGS = "drippings"
    TALLOW = "tallow"
    TASTING = "tasting"
    WASTE = "waste"


class AddedMass(StrEnum):
    """What is put on or in a piece; it never hides a loss."""

    RUB = "rub"
    BRINE = "brine"
    SPRITZ = "spritz"
    SAUCE = "sauce"
    TALLOW = "tallow-on"


WEIGHABLE: tuple[str, ...] = (*Checkpoint, *ByProduct, *AddedMass)

Wrap = Literal["none", "paper", "foil", "boat", "pan"]
WRAPS: tuple[Wrap, ...] = ("none", "paper", "foil", "boat", "pan")
Prepared = Literal["intact", "injected", "tenderised", "ground", "stuffed"]


@dataclass(frozen=True, slots=True)
class Piece:
    """One cut of meat followed through a cook; ``count`` above 1 makes it a batch.

    ``wrap_at_mc`` is ``None`` where the cut's policy decides and ``NEVER`` for unwrapped.
    ``service`` is the place of the service it is for, ``None`` for the first.
    """

    id: str
    cut: str = "other"
    count: int = 1
    mass_mg: int | None = None
    thickness_mm: float | None = None
    wrap: Wrap | None = None
    wrap_at_mc: int | None = None
    wrap_on: tuple[str, ...] = ()
    pull_at_mc: int | None = None
    prepared: Prepared = "intact"
    pit: str | None = None
    price_per_kg: Decimal | None = None
    supplier: str | None = None
    grade: str | None = None
    lot: str | None = None
    parents: tuple[str, ...] = ()
    service: str | None = None

    @property
    def family(self) -> str:
        return CUTS[self.cut]


def short_name(cut: str) -> str:
    """Return what a piece of a cut is called before its number: ``brisket``, ``butt``."""
    return cut.removesuffix("-packer").removesuffix("-whole").removeprefix("pork-")


def natural(name: str) -> list[tuple[int, int, str]]:
    """Return what sorts p2 before p10."""
    parts = re.findall(r"\d+|\D+", name)
    return [(0, int(p), "") if p.isdecimal() else (1, 0, p.casefold()) for p in parts]


def together(names: Iterable[str]) -> str:
    """Return names in one text, a run of three numbers or more said once: p-1 to p-8."""
    runs: list[list[str]] = []
    for name in names:
        stem, _, number = name.rpartition("-")
        before, _, last = (runs[-1][-1] if runs else "").rpartition("-")
        follows = number.isdecimal() and last.isdecimal() and int(number) == int(last) + 1
        if follows and before == stem:
            runs[-1].append(name)
        else:
            runs.append([name])
    return ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(run) for run in runs)


NEVER = -1_000_000  # wrap_at_mc of a piece that stays unwrapped: below absolute zero


@dataclass(frozen=True, slots=True)
class Channel:
    """One quantity at one place, and the piece it belongs to.

    ``settled``: each value is a result that the scale itself waited for.
    """

    id: str
    site: Site = Site.NONE
    piece: str | None = None
    quantity: Quantity | None = None
    set_point_mc: int | None = None
    low_mc: int | None = None
    high_mc: int | None = None
    offset: int = 0  # added to every value, milli-units
    interval_ms: int | None = None  # as declared by the driver
    stale_after_ms: int | None = None
    scale_interval_mg: int | None = None
    device: str | None = None
    settled: bool = False


TIMERS = ("spritz", "water-pan", "fuel")


@dataclass(frozen=True, slots=True)
class Service:
    """A sitting: when, where and for how many the food is served."""

    at_ms: int
    place: str = ""
    guests: int | None = None
    drive_min: float = 0.0
    setup_min: float = 0.0


@dataclass(frozen=True, slots=True)
class Cook:
    """One run of the smoker, from shopping to the last plate.

    ``id`` tells it from the other cooks that are open at the time; empty in records of
    earlier versions, where there was one at a time.
    """

    name: str
    pieces: tuple[Piece, ...] = ()
    channels: tuple[Channel, ...] = ()
    services: tuple[Service, ...] = ()
    guests: int | None = None
    altitude_m: float = 0.0
    portion_mg: int | None = None  # of all meat together, served, a guest
    timers: tuple[tuple[str, int], ...] = ()  # name and every so many ms; 0 for off
    id: str = ""
