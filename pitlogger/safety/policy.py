"""Policies: named, versioned limits, each with its source.

Where published rules disagree, the disagreement is one field here and a person settles it
by choosing a policy or laying a file of their own over one. ``mark`` says how a figure is
known: ``read`` in the text named, ``secondary`` in a copy that quotes it, ``memory``,
``computed``, or ``own`` for a choice of this program that has no source.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import cache
from typing import Any, Literal, get_type_hints

from pydantic import BaseModel, ConfigDict, Field, create_model

from pitlogger.errors import ConfigError, unknown
from pitlogger.formats.cook_file import Duration as DurationText
from pitlogger.formats.cook_file import Temperature as TemperatureText
from pitlogger.formats.cook_file import TemperatureStep as StepText
from pitlogger.formats.file_table import FileTable
from pitlogger.formats.toml import key_lines, parse_toml
from pitlogger.safety import shipped

Mark = Literal["read", "secondary", "memory", "computed", "own"]
DEFAULT = "retail-food-code"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cited:
    """What every limit carries: where it comes from and how well that is known."""

    source: str
    mark: Mark = "read"
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Temperature(Cited):
    mc: int


@dataclass(frozen=True, slots=True, kw_only=True)
class StepLimit(Cited):
    mc: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Duration(Cited):
    ms: int

    @property
    def s(self) -> float:
        return self.ms / 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class Number(Cited):
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice(Cited):
    value: str


COOK_TABLES = (
    "fsis-meat-5log", "fsis-meat-6.5log", "fsis-meat-7log", "food-code-roast",
    "fsis-poultry-7log", "food-code-ground", "food-code-ground-pre-2017", "food-code-165f",
    "food-code-165f-15s", "fsis-poultry-160f", "patty-318.23", "consumer-whole",
    "consumer-ground", "consumer-poultry",
)  # fmt: skip
CHOICES: dict[str, tuple[str, ...]] = {
    "hot_hold_roasts": ("hot-hold", "hot-hold-roast"),
    "cooling_second": ("none", "food-code", "fsis-option-1", "fsis-option-2", "slow-cured-40f",
                       "slow-cured-45f"),
    "cooling_stage_2_from": ("start", "middle"),
    "cook_intact": COOK_TABLES,
    "cook_injected": COOK_TABLES,
    "cook_tenderised": COOK_TABLES,
    "cook_ground": COOK_TABLES,
    "cook_stuffed": COOK_TABLES,
    "cook_poultry": COOK_TABLES,
    "lethality_by": ("table", "integral"),
    "come_up_verdict": ("warn", "judge"),
    "oven_advice": ("advise", "silent"),
    "humidity_advice": ("advise", "silent"),
    "growth_unit": ("log10/h", "1/h"),
    "scale_region": ("hb44", "oiml"),
    "boiling_reference": ("if97", "nominal"),
    "time_control_susceptible": ("none", "no-raw-eggs"),
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Policy:
    """One set of limits. Fields are named for what they limit; see ``policies/*.toml``."""

    name: str
    version: str
    title: str
    # The record itself
    max_gap: Duration
    settle: Duration
    guard_band: StepLimit
    # Holding
    hot_hold: Temperature
    hot_hold_roast: Temperature
    hot_hold_roasts: Choice
    hot_hold_warning: Temperature
    hot_hold_delay: Duration
    cold_hold: Temperature
    cold_hold_delay: Duration
    danger_low: Temperature
    danger_high: Temperature
    # Time as a control
    out_of_control: Duration
    out_of_control_hot_day: Duration
    hot_day: Temperature
    time_control_4h: Duration
    time_control_6h: Duration
    time_control_6h_max: Temperature
    time_control_susceptible: Choice
    date_mark: Duration
    # Cooling
    cooling_start: Temperature
    cooling_middle: Temperature
    cooling_end: Temperature
    cooling_stage_1: Duration
    cooling_stage_2: Duration
    cooling_stage_2_from: Choice
    cooling_second: Choice
    # Cooking
    cook_intact: Choice
    cook_injected: Choice
    cook_tenderised: Choice
    cook_ground: Choice
    cook_stuffed: Choice
    cook_poultry: Choice
    lethality_by: Choice
    low_margin: Temperature
    come_up: Duration
    come_up_low: Temperature
    come_up_high: Temperature
    come_up_verdict: Choice
    oven_advice: Choice
    humidity_advice: Choice
    # Reheating
    reheat: Temperature
    reheat_hold: Duration
    reheat_commercial: Temperature
    reheat_start: Temperature
    reheat_limit: Duration
    # Growth
    growth_warning_log10: Number
    growth_unit: Choice
    # Instruments
    food_probe_c: StepLimit
    food_probe_f: StepLimit
    air_probe_c: StepLimit
    air_probe_f: StepLimit
    scale_region: Choice
    boiling_reference: Choice

    def cite(self, limit: Cited) -> str:
        """Return a limit's source with the policy and how the figure is known."""
        known = {
            "read": "",
            "secondary": ", read in a secondary copy",
            "memory": ", from memory",
            "computed": ", computed",
            "own": ", own choice, no source",
        }[limit.mark]
        return f"{limit.source}{known} ({self.name} {self.version})"


class _Limit(FileTable):
    source: str = Field(min_length=3)
    mark: Mark = "read"
    note: str = ""


class _TemperatureTable(_Limit):
    value: TemperatureText


class _StepTable(_Limit):
    value: StepText


class _DurationTable(_Limit):
    value: DurationText


class _NumberTable(_Limit):
    value: float


class _ChoiceTable(_Limit):
    value: str


class PolicyHeader(FileTable):
    name: str = Field(min_length=1, pattern=r"^[a-z0-9][a-z0-9.-]*$")
    version: str = Field(min_length=1)
    title: str = ""
    base: str | None = None


_TABLES: dict[Any, tuple[type[_Limit], str]] = {
    Temperature: (_TemperatureTable, "mc"),
    StepLimit: (_StepTable, "mc"),
    Duration: (_DurationTable, "ms"),
    Number: (_NumberTable, "value"),
    Choice: (_ChoiceTable, "value"),
}
LIMITS: dict[str, Any] = {
    field.name: hint
    for field in fields(Policy)
    if (hint := get_type_hints(Policy)[field.name]) is not str
}
_fields: dict[str, Any] = {name: (_TABLES[kind][0] | None, None) for name, kind in LIMITS.items()}
_PolicyFile: type[BaseModel] = create_model(
    "_PolicyFile", __config__=ConfigDict(extra="forbid", frozen=True), policy=(PolicyHeader, ...),
    **_fields,
)  # fmt: skip


def parse_policy(text: str, name: str = "policy") -> Policy:
    """Return the policy a TOML text holds, laid over its ``base`` where it names one.

    Args:
        text: ``[policy]`` with ``name``, ``version`` and perhaps ``base``, then a table for
            each limit with ``value``, ``source`` and perhaps ``mark`` and ``note``.
        name: What stands for the file in messages.

    Raises:
        ConfigError: With ``file:line``: an unknown key or choice, a limit without a source, a
            value that cannot be read, or, without a base, a limit that is missing.
    """
    parsed: Any = parse_toml(text, _PolicyFile, ConfigError, name)
    limits: dict[str, Any] = {
        key: _limit(key, table, text, name)
        for key in LIMITS
        if (table := getattr(parsed, key)) is not None
    }
    header: PolicyHeader = parsed.policy
    titles: dict[str, Any] = {"name": header.name, "version": header.version, "title": header.title}
    if header.base is not None:
        policy = replace(shipped_policy(header.base), **titles, **limits)
    else:
        missing = [key for key in LIMITS if key not in limits]
        if missing:
            raise ConfigError(
                f"{name}: no limit for {', '.join(missing)}: give each a table with value and "
                f'source, or name a base, such as base = "{DEFAULT}", in [policy]'
            )
        policy = Policy(**titles, **limits)
    _agree(policy, name)
    return policy


def _limit(key: str, table: Any, text: str, name: str) -> Cited:
    kind = LIMITS[key]
    if kind is Choice and table.value not in CHOICES[key]:
        line = key_lines(text).get((key, "value"), 1)
        raise ConfigError(f"{name}:{line}: {unknown(key, table.value, CHOICES[key])}")
    cited: Cited = kind(
        **{_TABLES[kind][1]: table.value}, source=table.source, mark=table.mark, note=table.note
    )
    return cited


def _agree(policy: Policy, name: str) -> None:
    """Refuse limits that contradict each other."""
    rules = (
        (policy.cooling_start.mc > policy.cooling_middle.mc > policy.cooling_end.mc,
         "cooling_start must lie above cooling_middle, and that above cooling_end"),
        (policy.danger_low.mc < policy.danger_high.mc, "danger_low must lie below danger_high"),
        (policy.come_up_low.mc < policy.come_up_high.mc, "come_up_low must lie below come_up_high"),
        (policy.hot_hold.mc <= policy.hot_hold_warning.mc,
         "hot_hold_warning must not lie below hot_hold"),
        (policy.max_gap.ms > 0, "max_gap must be longer than nothing"),
    )  # fmt: skip
    for holds, rule in rules:
        if not holds:
            raise ConfigError(f"{name}: policy '{policy.name}' contradicts itself: {rule}")


def shipped_names() -> list[str]:
    """Return the names of the policies that come with pitlogger."""
    return shipped.names("policies", ".toml")


@cache
def shipped_policy(name: str = DEFAULT) -> Policy:
    """Return a policy that comes with pitlogger.

    Raises:
        ConfigError: No policy has that name.
    """
    if name not in shipped_names():
        raise ConfigError(f"{unknown('policy', name, shipped_names())}; or give a .toml file")
    return parse_policy(shipped.text("policies", f"{name}.toml"), f"{name}.toml")
