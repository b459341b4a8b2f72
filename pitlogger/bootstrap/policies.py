"""Rules and food-safety policy that a configuration asks for."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from pitlogger.config import Config
from pitlogger.errors import ConfigError
from pitlogger.files import refuse_device
from pitlogger.formats.policy_file import Source
from pitlogger.rules.messages import Units
from pitlogger.rules.policies import RulePolicy, Texts, build
from pitlogger.safety.policy import Policy as Safety
from pitlogger.safety.policy import parse_policy, shipped_policy


def load_policy(
    own_alerts: Path | None = None,
    own_targets: Path | None = None,
    safety: Safety | None = None,
    own_timers: Path | None = None,
    own_kitchen: Path | None = None,
) -> RulePolicy:
    """Return the policy that comes with pitlogger, overlaid by a person's own files.

    Args:
        safety: Food-safety policy whose hot-holding limits the alarms go by.

    Raises:
        ConfigError: A file cannot be read, or holds an unknown key or a wrong value.
    """
    policy = build(Texts(*map(_own, (own_alerts, own_targets, own_timers, own_kitchen))))
    if safety is None:
        return policy
    limit_mc, near_mc = safety.hot_hold.mc, safety.hot_hold_warning.mc
    return replace(policy, hot_hold_limit_mc=limit_mc, hot_hold_near_mc=max(near_mc, limit_mc))


def _own(path: Path | None) -> Source | None:
    if path is None:
        return None
    try:
        refuse_device(path)
        return Source(path.read_text(encoding="utf-8"), str(path))
    except (OSError, UnicodeDecodeError) as fault:
        raise ConfigError(f"{path}: cannot be read: {fault}") from None


def policies_of(config: Config) -> tuple[RulePolicy, Safety]:
    """Return the rules and the food-safety policy that a configuration asks for."""
    own = _own(config.policy.file)
    safety = shipped_policy(config.policy.name) if own is None else parse_policy(own.text, own.name)
    table = config.policy
    files = (table.alerts, table.targets, safety, table.timers, table.kitchen)
    policy = load_policy(*files)
    return replace(policy, stage_from=table.stage_from, stage_chance=table.stage_chance), safety


def units_of(config: Config) -> Units:
    """Return the units that messages speak in."""
    return Units(config.units.temperature, config.units.mass)
