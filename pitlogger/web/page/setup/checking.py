"""Probe and scale checks as guided steps: ice water, boiling water, a test mass."""

from __future__ import annotations

from typing import Any

from pitlogger.errors import UsageError
from pitlogger.model.journal import CheckMade
from pitlogger.model.quantities import parse_mass_mg, parse_temperature_mc
from pitlogger.model.readings import Site
from pitlogger.safety.instruments.checks import (
    ProbeCheck,
    boil_check,
    ice_check,
    parse_altitude_m,
    tolerance,
)
from pitlogger.safety.instruments.scale_check import scale_check
from pitlogger.views.language import tr
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown
from pitlogger.web.access.roles import who_asks

_PURPOSE = {"hb44": "maintenance", "oiml": "in-service"}  # of a scale in use
MOST = 20  # of the checks shown


async def checks_screen(daemon: Node, shown: Shown) -> dict[str, Any]:
    """Return the probes and scales that can be checked, and the last checks."""
    lanes = daemon.engine.lanes.values()
    await daemon.flushed()
    made = await daemon.ask(lambda reader: reader.entries(kinds=("check-made",))[-MOST:])
    return {
        "probes": [lane.state.id for lane in lanes if lane.is_temperature],
        "benches": [lane.state.id for lane in lanes if lane.site is Site.BENCH],
        "made": [
            {
                "what": one.body.instrument,
                "method": one.body.method,
                "within": one.body.within,
                "at": shown.clock(one.t_ms),
                "by": one.by,
            }
            for one in reversed(made)
            if isinstance(one.body, CheckMade)
        ],
        "mass_unit": "lb" if shown.units.mass == "lb-oz" else shown.units.mass,
    }


async def check_probe(daemon: Node, form: dict[str, str], shown: Shown) -> dict[str, Any]:
    """Judge a probe's reading in ice water or boiling water, and keep the verification."""
    reading_mc = parse_temperature_mc(_given(form, "value", "what the probe shows"))
    instrument, unit = _instrument(form), shown.units.temperature
    lane = daemon.engine.lanes.get(instrument)
    is_air = lane is not None and lane.site is Site.PIT
    limit = tolerance(daemon.safety, "air" if is_air else "food", "F" if unit == "F" else "C")
    source = daemon.safety.cite(limit)
    if form.get("method") == "boil":
        found = boil_check(
            reading_mc, limit.mc, source,
            altitude_m=parse_altitude_m(_given(form, "altitude", "the altitude of this place")),
            reference=daemon.safety.boiling_reference.value,
        )  # fmt: skip
    else:
        found = ice_check(reading_mc, limit.mc, source)
    body = CheckMade(
        instrument, found.kind, found.error_mc, found.tolerance_mc, found.is_within,
        found.reference,
    )  # fmt: skip
    error = f"{shown.step(found.error_mc):+.1f} {unit}"
    return await _kept(daemon, body, form, error, _expected(found, shown))


async def check_scale(daemon: Node, form: dict[str, str], shown: Shown) -> dict[str, Any]:
    """Judge what a scale shows with a test mass on it, and keep the verification."""
    mass, reading, interval = (
        parse_mass_mg(_given(form, name, what))
        for name, what in (
            ("mass", "the test mass"),
            ("mass-shown", "what the scale shows"),
            ("mass-interval", "the smallest step of the scale"),
        )
    )
    for name, value in (("mass", mass), ("mass-interval", interval)):
        if not value:
            raise UsageError("a mass above zero is expected", name)
    region = daemon.safety.scale_region.value
    found = scale_check(mass, reading, interval, region, _PURPOSE[region])
    body = CheckMade(
        _instrument(form), "scale", round(found.error_mg), round(found.tolerance_mg),
        found.is_within, found.source,
    )  # fmt: skip
    error = f"{found.error_mg / 1000:+g} g"
    return await _kept(daemon, body, form, error, shown.mass(mass))


async def _kept(
    daemon: Node, body: CheckMade, form: dict[str, str], error: str, expected: str
) -> dict[str, Any]:
    if (entry := await daemon.earlier(form.get("key", ""))) is None:
        by = form.get("by") or who_asks.get().initials
        entry = await daemon.submit(body, by, form.get("key", ""))
    verdict = (
        tr("limit met") if body.within else tr("limit not met: out of service until put right")
    )
    said = tr(
        "{instrument}: {error} from {expected}, {verdict}. It is on record.",
        instrument=body.instrument, error=error, expected=expected, verdict=verdict,
    )  # fmt: skip
    return {"said": said, "undo": None, "durable": daemon.is_on_disk(entry)}


def _expected(found: ProbeCheck, shown: Shown) -> str:
    return f"{shown.degrees(found.expected_mc, 1)} {shown.units.temperature}"


def _given(form: dict[str, str], field: str, what: str) -> str:
    if not form.get(field):
        raise UsageError(f"Write {what}.", field)
    return form[field]


def _instrument(form: dict[str, str]) -> str:
    name = form.get("other") or form.get("instrument", "")
    if not name:
        raise UsageError("Say which one was checked.", "instrument")
    if len(name) > 60:
        raise UsageError("a name has at most 60 characters", "other")
    return name


CHECKS = {"check-probe": check_probe, "check-scale": check_scale}
