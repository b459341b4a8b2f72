"""Policy files: how alerts behave and what each cut's targets are (TOML).

The files that come with pitlogger lie in ``pitlogger/rules/policy``. A person's own file
overlays them key by key.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, RootModel

from pitlogger.errors import ConfigError, unknown
from pitlogger.formats.cook_file import CutId, Duration, Mass, Temperature, TemperatureStep, WrapId
from pitlogger.formats.toml import parse_toml
from pitlogger.model.alerts import KINDS


def _kind(value: Any) -> str:
    if value not in KINDS:
        raise ValueError(unknown("alert kind", str(value), KINDS))
    return str(value)


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class AlertTable(_Table):
    priority: Literal["low", "medium", "high"]
    wakes: bool
    cause: str
    consequence: str
    remedy: str
    act_within: str
    latching: bool = False
    notice: bool = False
    momentary: bool = False
    on_delay: Duration = 0
    off_delay: Duration = 0
    deadband: TemperatureStep = 0
    realarm: Duration | None = None
    shelf_max: Duration = 4 * 3_600_000
    source: str = ""


class CutTable(_Table):
    wrap: WrapId = "none"
    wrap_at: Temperature | None = None
    tender_check_at: Temperature | None = None
    pull_at: Temperature | None = None
    mass: Mass | None = None
    mass_sd: Mass | None = Field(None, ge=0)
    source: str = "common practice, no source"


class AlertsFile(RootModel[dict[Annotated[str, BeforeValidator(_kind)], AlertTable]]):
    """A table for each alert kind."""


class TargetsFile(RootModel[dict[CutId, CutTable]]):
    """A table for each cut."""


def parse_alerts(text: str, name: str) -> dict[str, AlertTable]:
    """Return the alert tables of a policy text; ``name`` stands for the file in messages."""
    return parse_toml(text, AlertsFile, ConfigError, name).root


def parse_targets(text: str, name: str) -> dict[str, CutTable]:
    """Return the cut tables of a policy text; ``name`` stands for the file in messages."""
    return parse_toml(text, TargetsFile, ConfigError, name).root
