"""Reload: what can be applied while it runs is applied, what cannot is said."""

from __future__ import annotations

from dataclasses import dataclass

from pitlogger.config import Config

# Tables that the engine, its policies, the devices and the notifier are made of.
LIVE = ("units", "policy", "premises", "device", "notify", "mqtt")
RESTART = "sudo systemctl restart pitlogger (it takes about a second and nothing is lost)"


@dataclass(frozen=True, slots=True)
class ConfigDifference:
    """What a new configuration changes, in words a person knows from the file."""

    applied: tuple[str, ...]
    needs_restart: tuple[str, ...]
    stopped: tuple[str, ...]  # devices that are gone or changed
    started: tuple[str, ...]  # devices that are new or changed

    def text(self) -> str:
        """Return it as a sentence or two."""
        parts = [f"applied: {', '.join(self.applied)}" if self.applied else "nothing to apply"]
        if self.needs_restart:
            parts.append(f"not applied: {', '.join(self.needs_restart)}. Restart: {RESTART}")
        return "; ".join(parts)


def difference(old: Config, new: Config) -> ConfigDifference:
    """Return what a new configuration changes."""
    changed = [name for name in type(new).model_fields if getattr(old, name) != getattr(new, name)]
    before = {table.id: table for table in old.device}
    after = {table.id: table for table in new.device}
    stopped = tuple(name for name in before if before[name] != after.get(name))
    started = tuple(name for name in after if after[name] != before.get(name))
    applied = [f"[{name}]" for name in changed if name in LIVE and name != "device"]
    applied += [f"device '{name}'" for name in dict.fromkeys((*stopped, *started))]
    fixed = tuple(f"[{name}]" for name in changed if name not in LIVE)
    return ConfigDifference(tuple(applied), fixed, stopped, started)


def applicable(old: Config, new: Config) -> Config:
    """Return the old configuration with what can be applied of the new."""
    return old.model_copy(update={name: getattr(new, name) for name in LIVE})
