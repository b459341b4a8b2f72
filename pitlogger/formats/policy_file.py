"""Policy files: how alerts behave, what each cut's targets are, which timers run (TOML).

The files that come with pitlogger lie in ``pitlogger/rules/policy``. A person's own file
overlays them key by key.
"""

from __future__ import annotations

import tomllib
from typing import Annotated, Any, Literal, NamedTuple, TypeVar

from pydantic import (
    Field,
    RootModel,
    ValidationError,
)

from pitlogger.errors import ConfigError
from pitlogger.formats import cook_file
from pitlogger.formats.file_table import FileTable
from pitlogger.formats.toml import explain, parse_toml
from pitlogger.model.alerts import KINDS
from pitlogger.model.cooks import TIMERS
from pitlogger.model.kitchen import WORKS, KitchenTimes, Work

F = TypeVar("F", bound=RootModel[Any])


class AlertTable(FileTable):
    priority: Literal["low", "medium", "high"]
    wakes: bool
    cause: str
    consequence: str
    remedy: str
    act_within: str
    latching: bool = False
    notice: bool = False
    momentary: bool = False
    on_delay: cook_file.Duration = 0
    off_delay: cook_file.Duration = 0
    deadband: cook_file.TemperatureStep = 0
    realarm: cook_file.Duration | None = None
    shelf_max: cook_file.Duration = 4 * 3_600_000
    source: str = ""


class CutTable(FileTable):
    wrap: cook_file.WrapId = "none"
    wrap_at: cook_file.Temperature | None = None
    tender_check_at: cook_file.Temperature | None = None
    pull_at: cook_file.Temperature | None = None
    mass: cook_file.Mass | None = None
    mass_sd: cook_file.Mass | None = Field(None, ge=0)
    source: str = "common practice, no source"


class TimerTable(FileTable):
    on: Literal["piece", "pit"]
    every: Annotated[cook_file.Duration, Field(gt=0)] | None = None
    first: cook_file.Duration = 0
    cause: str
    remedy: str
    source: str = "common practice, no source"


class WorkTable(FileTable):
    takes: Annotated[cook_file.Duration, Field(gt=0)]
    source: str = "common practice, no source"


class AlertsFile(
    RootModel[dict[Annotated[str, cook_file.one_of("alert kind", KINDS)], AlertTable]]
):
    """A table for each alert kind."""


class AnyTables(RootModel[dict[str, dict[str, Any]]]):
    """Tables whose keys are checked later."""


class TargetsFile(RootModel[dict[cook_file.CutId, CutTable]]):
    """A table for each cut."""


class TimersFile(RootModel[dict[Annotated[str, cook_file.one_of("timer", TIMERS)], TimerTable]]):
    """A table for each timer."""


class KitchenFile(RootModel[dict[Work, WorkTable]]):
    """A table for each kind of work."""


class Source(NamedTuple):
    """A policy text and what stands for its file in messages."""

    text: str
    name: str


def parse_alerts(base: Source, over: Source | None = None) -> dict[str, AlertTable]:
    """Return the alert tables of a policy text, overlaid key by key by a person's own.

    Raises:
        ConfigError: With ``file:line`` of the text at fault.
    """
    return _laid_over(base, over, AlertsFile).root


def parse_targets(base: Source, over: Source | None = None) -> dict[str, CutTable]:
    """Return the cut tables of a policy text, overlaid key by key by a person's own.

    Raises:
        ConfigError: With ``file:line`` of the text at fault.
    """
    return _laid_over(base, over, TargetsFile).root


def parse_timers(base: Source, over: Source | None = None) -> dict[str, TimerTable]:
    """Return the timers of a policy text, overlaid key by key by a person's own.

    Raises:
        ConfigError: With ``file:line`` of the text at fault.
    """
    return _laid_over(base, over, TimersFile).root


def parse_kitchen(base: Source, over: Source | None = None) -> KitchenTimes:
    """Return the times of work of a policy text, overlaid key by key by a person's own.

    Raises:
        ConfigError: With ``file:line`` of the text at fault.
    """
    tables = _laid_over(base, over, KitchenFile).root
    return KitchenTimes(*(tables[work].takes for work in WORKS))


def _laid_over(base: Source, over: Source | None, model: type[F]) -> F:
    """Return a policy text with the keys of another in place of its own.

    A table of the overlay needs only the keys it changes; its faults carry its own lines.
    """
    held = parse_toml(base.text, model, ConfigError, base.name)
    if over is None:
        return held
    tables: dict[str, dict[str, Any]] = tomllib.loads(base.text)
    for name, keys in parse_toml(over.text, AnyTables, ConfigError, over.name).root.items():
        tables[name] = {**tables.get(name, {}), **keys}
    try:
        return model.model_validate(tables)
    except ValidationError as fault:
        raise ConfigError(explain(fault, model, over.text, over.name)) from None
