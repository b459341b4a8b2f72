"""What the doctor finds of configured devices: each is read for a while, or the daemon is asked."""

from __future__ import annotations

import asyncio
from collections.abc import Collection, Iterable, Mapping
from typing import Any

from pitlogger.devices.checks import Check, CheckState
from pitlogger.devices.contract import Measurement
from pitlogger.devices.runner import ASIDE, CHECK_SETTINGS, Device, Link
from pitlogger.devices.trial import Trial, in_words
from pitlogger.model.readings import Quality

# Alarms of the daemon about probes, not about food or fire; of devices it tells more itself.
_OF_PROBES = frozenset(("channel-stale", "probe-fault", "battery-low"))
_WITH_VALUE = frozenset((Quality.GOOD, Quality.POSSIBLY_STORED))
_LONGER = "Check that it is on and near, or wait longer: --seconds"
_REMEDY = {
    Quality.OPEN: "Push its plug home, look at the cable, or try another probe",
    Quality.SHORTED: "Look for a crushed or wet cable, or try another probe",
    Quality.OVERLOAD: "Take the load off: it is beyond what the device measures",
    Quality.UNDERLOAD: "Put the platter on, or set the scale to zero",
}


async def read_each(
    devices: Iterable[Device], seconds: float, wanted: Mapping[str, Collection[str]]
) -> list[Check]:
    """Return what each device gives in a while.

    Args:
        wanted: The channels that the configuration names of each device.
    """
    trials = [Trial(device, lambda _line: None) for device in devices]
    await asyncio.gather(*(trial.run(seconds) for trial in trials))
    return [check for trial in trials for check in verdict(trial, wanted[trial.device.id])]


def verdict(trial: Trial, wanted: Collection[str] = ()) -> list[Check]:
    """Return what a trial showed: one check, or one for each channel that is in trouble."""
    about = f"device '{trial.device.id}'"
    if not was_read(trial):
        return [_nothing_read(about, trial)]
    if trial.message:
        return [Check(about, CheckState.TROUBLE, trial.message, trial.remedy)]
    checks = [
        Check(f"{about}, {found.channel}", CheckState.TROUBLE, str(found.quality), _remedy(found))
        for found in trial.latest.values()
        if found.quality not in _WITH_VALUE
    ]
    missing = sorted(set(wanted) - set(trial.latest))
    if missing:
        checks.append(
            Check(
                about,
                CheckState.ADVICE,
                f"{', '.join(missing)} did not come; what came: {', '.join(trial.latest)}",
                "Compare the names of its channels, or wait longer: --seconds",
            )
        )
    said = [" ".join(in_words(found).split()) for found in trial.latest.values()]
    return checks or [Check(about, CheckState.GOOD, "; ".join(said))]


def was_read(trial: Trial) -> bool:
    """Return whether more came than what the device says of itself."""
    return any(found.quantity not in ASIDE for found in trial.latest.values())


def _nothing_read(about: str, trial: Trial) -> Check:
    if trial.message:
        return Check(about, CheckState.TROUBLE, trial.message, trial.remedy or CHECK_SETTINGS)
    if trial.refused:
        last = trial.refused[-1]
        found = f"it sends, but nothing can be read: {last.reason}"
        return Check(about, CheckState.TROUBLE, found, last.remedy or CHECK_SETTINGS)
    if not trial.was_up:
        return Check(about, CheckState.TROUBLE, "it was not reached in the time given", _LONGER)
    if trial.bytes_heard and not trial.latest:
        return Check(
            about,
            CheckState.TROUBLE,
            f"it sent {trial.bytes_heard} bytes, of which nothing can be read: "
            f"{trial.last_heard!r}",
            f"Set baud and framing as in its manual. {CHECK_SETTINGS}",
        )
    aside = ", ".join(" ".join(in_words(found).split()) for found in trial.latest.values())
    found = f"it is there and sent {f'no more than {aside}' if aside else 'nothing'}"
    seldom = f"it may be silent for {trial.device.interval_s:g} s"
    return Check(about, CheckState.ADVICE, f"{found}; {seldom}", _LONGER)


def _remedy(found: Measurement) -> str:
    return _REMEDY.get(found.quality, "Look at the device's own display and its manual")


def told_by_daemon(
    devices: Iterable[Mapping[str, Any]], alerts: Iterable[Mapping[str, Any]]
) -> list[Check]:
    """Return what a running daemon has to say of devices and probes, both as the API gives them."""
    probes = [
        Check(alert["alert"], CheckState.TROUBLE, alert["message"], alert["remedy"])
        for alert in alerts
        if alert["kind"] in _OF_PROBES
    ]
    return [*(_told(device) for device in devices), *probes]


def _told(device: Mapping[str, Any]) -> Check:
    about = f"device '{device['device']}'"
    if device["link"] is None:
        return Check(about, CheckState.ADVICE, "the daemon is looking for it")
    state = CheckState.GOOD if device["link"] == Link.UP else CheckState.TROUBLE
    return Check(about, state, device["message"], device["remedy"])
