"""A service starts whatever became of its configuration: nobody stands beside it to mend a line.

What worked last is kept beside the record. Where the file cannot be used any more, that is used
instead, or what can be used of either: without a device, a policy file, a language at fault.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from pitlogger.bootstrap.devices import channels_of, configured_devices
from pitlogger.bootstrap.policies import policies_of
from pitlogger.config import Config, PolicyTable, load_config
from pitlogger.errors import PitloggerError, StoreError
from pitlogger.files import write_whole
from pitlogger.service.credentials import with_credentials
from pitlogger.views.language import speaking

KEPT = "configuration-that-worked.toml"
_POLICY_FILES = ("file", "alerts", "targets", "timers", "kitchen")


def service_folder() -> Path | None:
    """Return the folder that systemd gave the service, ``None`` for whoever runs it by hand."""
    given = os.environ.get("STATE_DIRECTORY", "").partition(":")[0]
    return Path(given) if given else None


def keep(config_file: Path) -> None:
    """Keep a service's configuration that works, as far as the disk takes it."""
    if (folder := service_folder()) is None:
        return
    kept = folder / KEPT
    with suppress(OSError, UnicodeDecodeError):
        if not _same(kept, config_file):
            write_whole(kept, config_file.read_text(encoding="utf-8"))


def usable(config_file: Path, folder: Path, fault: PitloggerError) -> tuple[Config, list[str]]:
    """Return the best configuration that can be used, and what to report of it.

    Args:
        fault: Why the file cannot be used as it stands.

    Raises:
        PitloggerError: ``fault``, where neither the file nor what was kept can be read.
    """
    for path in (folder / KEPT, config_file):
        with suppress(PitloggerError):
            left_out: list[str] = []
            config = with_credentials(load_config(path, left_out))
            differs = path != config_file and not _same(path, config_file)
            told = f"{config_file} cannot be used: {fault}"
            told += "; in use is what worked last" if differs else ""
            return _what_works(config, [told, *left_out])
    raise fault


def _what_works(config: Config, told: list[str]) -> tuple[Config, list[str]]:
    """Return a configuration without the parts that cannot be used."""
    if (found := _fault(_speaks, config)) is not None:
        told.append(str(found))
        english = config.units.model_copy(update={"language": "en"})
        config = config.model_copy(update={"units": english})
    policy = config.policy
    for name in _POLICY_FILES:
        alone = PolicyTable(name=policy.name).model_copy(update={name: getattr(policy, name)})
        if (found := _fault(policies_of, config.model_copy(update={"policy": alone}))) is not None:
            told.append(f"left out: [policy] {name}: {found}")
            policy = policy.model_copy(update={name: None})
    fits = []
    for table in config.device:
        if (found := _fault(_devices, config.model_copy(update={"device": (table,)}))) is None:
            fits.append(table)
        else:
            told.append(f"left out: {found}")
    return config.model_copy(update={"policy": policy, "device": tuple(fits)}), told


def _same(kept: Path, config_file: Path) -> bool:
    with suppress(OSError):
        return kept.read_bytes() == config_file.read_bytes()
    return False


def _speaks(config: Config) -> None:
    with speaking(config.units.language, config.languages):
        pass


def _devices(config: Config) -> object:
    return channels_of(config, configured_devices(config))


def _fault(tried: Callable[[Config], object], config: Config) -> PitloggerError | None:
    try:
        tried(config)
    except PitloggerError as fault:
        return fault
    return None


def in_memory(config: Config, fault: StoreError) -> tuple[Config, list[str]]:
    """Return a configuration whose record lies where nothing is kept: the alarms have one."""
    folder = os.environ.get("RUNTIME_DIRECTORY", "").partition(":")[0] or None
    place = Path(tempfile.mkdtemp(prefix="without-a-disk-", dir=folder))
    node = config.node.model_copy(update={"data": place})
    told = f"{fault}. Alarms run, and nothing of this run stays: its record is in {place}"
    return config.model_copy(update={"node": node}), [told]
