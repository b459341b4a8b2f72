"""``pitlogger check``: verify a thermometer in ice or boiling water, or a scale with a mass."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import TYPE_CHECKING, Any

import click

from pitlogger.cli.output import by_option, emit, json_option

if TYPE_CHECKING:
    from pitlogger.safety.instruments.checks import ProbeCheck, Sensor, Unit
    from pitlogger.safety.policy import Policy

CAUTIONS = (
    "pitlogger is a record and a reminder.",
    "The local code and the licensed or certified person decide.",
    "A thermometer outside its tolerance goes out of service.",
    "What it read since its last good check is in doubt, and doubtful food is thrown away.",
)

policy_option = click.option(
    "--policy", "policy_name", default="retail-food-code", show_default=True, metavar="NAME|FILE"
)
keep_option = click.option(
    "--keep", metavar="CHANNEL", help="Put it on the daemon's record, and its offset with it."
)


@click.group()
def check() -> None:
    """Verify a probe (ice, boil) or a scale. Needs no daemon unless the result is kept."""


def of_a_probe(judge: Callable[..., ProbeCheck]) -> click.Command:
    """Make a command of what judges a probe's reading, with the options that all of them have."""

    @check.command()
    @click.argument("reading")
    @click.option("--sensor", type=click.Choice(["food", "air"]), default="food",
                  show_default=True,
                  help="A probe for food, or one for air and water (wider tolerance).")  # fmt: skip
    @click.option("--tolerance", metavar="STEP",
                  help="Such as 2F or 1C; from the policy where it is not given.")  # fmt: skip
    @policy_option
    @keep_option
    @by_option
    @json_option
    @wraps(judge)
    def command(
        reading: str, sensor: Sensor, tolerance: str | None, policy_name: str, keep: str | None,
        by: str, as_json: bool, **given: Any,
    ) -> None:  # fmt: skip
        from pitlogger.cli.records.safety import find_policy
        from pitlogger.model.quantities import parse_temperature_mc

        policy = find_policy(policy_name)
        limit_mc, source = _tolerance(reading, sensor, tolerance, policy)
        found = judge(parse_temperature_mc(reading), limit_mc, source, policy, **given)
        if keep is not None:
            _keep(keep, by, found.kind, found.error_mc, found.tolerance_mc, found.is_within,
                  found.reference, found.offset_mc)  # fmt: skip
        _tell(found, reading, as_json)

    return command


@of_a_probe
def ice(reading_mc: int, tolerance_mc: int, source: str, policy: Policy) -> ProbeCheck:
    """Check a READING, such as 32.4F, taken in ice water.

    Fill a cup with crushed ice, then with clean water, and stir. Hold the sensing part in
    the middle, off the wall and the bottom, and read when it is steady, 30 s at least.
    """
    from pitlogger.safety.instruments.checks import ice_check

    return ice_check(reading_mc, tolerance_mc, source)


@of_a_probe
@click.option("--altitude", metavar="HEIGHT", help="Such as 240m or 5280ft.")
@click.option("--pressure", metavar="PRESSURE",
              help="Station pressure, such as 985hPa or 29.1inHg: never the one corrected to sea "
                   "level.")  # fmt: skip
def boil(
    reading_mc: int, tolerance_mc: int, source: str, policy: Policy, altitude: str | None,
    pressure: str | None,
) -> ProbeCheck:  # fmt: skip
    """Check a READING, such as 210.5F, taken in water at a rolling boil.

    The boiling point follows the air pressure: give the pressure at this place if there is
    a barometer, else the altitude. Mind the steam.
    """
    from pitlogger.safety.instruments.checks import boil_check, parse_altitude_m, parse_pressure_pa

    return boil_check(
        reading_mc,
        tolerance_mc,
        source,
        altitude_m=None if altitude is None else parse_altitude_m(altitude),
        pressure_pa=None if pressure is None else parse_pressure_pa(pressure),
        reference=policy.boiling_reference.value,
    )


@check.command()
@click.argument("reading")
@click.option("--mass", required=True, metavar="MASS", help="The test mass, such as 2kg.")
@click.option(
    "--interval", required=True, metavar="MASS",
    help="Verification interval e, such as 1g; the scale interval where there is no mark.",
)  # fmt: skip
@click.option("--class", "accuracy_class", type=click.Choice(["iii"], case_sensitive=False),
              default="iii", show_default=True, help="Accuracy class.")  # fmt: skip
@click.option("--region", type=click.Choice(["hb44", "oiml"]),
              help="Whose tolerances; from the policy where it is not given.")  # fmt: skip
@click.option(
    "--for", "kind",
    type=click.Choice(["acceptance", "maintenance", "verification", "in-service"]),
    help="acceptance or maintenance (hb44); verification or in-service (oiml). "
         "A scale in use where it is not given.",
)  # fmt: skip
@click.option("--added", metavar="MASS", help="Small mass added until the display stepped on.")
@click.option("--capacity", metavar="MASS", help="Largest load of the scale.")
@policy_option
@keep_option
@by_option
@json_option
def scale(as_json: bool, keep: str | None, by: str, **given: str) -> None:
    """Check a READING, such as 2.001kg, of a scale with a test mass on it."""
    from pitlogger.cli.records.safety import find_policy
    from pitlogger.model.quantities import parse_mass_mg
    from pitlogger.safety.instruments.scale_check import scale_check

    mass_mg = {
        name: parse_mass_mg(given[name])
        for name in ("reading", "mass", "interval", "added", "capacity")
        if given[name] is not None
    }
    whose = given["region"] or find_policy(given["policy_name"]).scale_region.value
    purpose = given["kind"] or {"hb44": "maintenance", "oiml": "in-service"}[whose]
    found = scale_check(
        mass_mg["mass"],
        mass_mg["reading"],
        mass_mg["interval"],
        whose,
        purpose,
        added_mg=mass_mg.get("added"),
        capacity_mg=mass_mg.get("capacity"),
    )
    if keep is not None:
        _keep(keep, by, "scale", found.error_mg, found.tolerance_mg, found.is_within,
              found.source, found.offset_mg)  # fmt: skip
    document = {
        "check": "scale",
        "class": given["accuracy_class"],
        "region": whose,
        "for": purpose,
        "expected_g": found.expected_mg / 1000,
        "reading_g": found.reading_mg / 1000,
        "interval_g": found.interval_mg / 1000,
        "divisions": found.divisions,
        "error_g": found.error_mg / 1000,
        "tolerance_g": found.tolerance_mg / 1000,
        "within": found.is_within,
        "offset_g": found.offset_mg / 1000,
        "source": found.source,
        "notes": list(found.notes),
    }
    text = (
        f"error {document['error_g']:+g} g, tolerance {document['tolerance_g']:g} g at "
        f"{found.divisions:g} intervals: {_within(found.is_within)}\n{found.source}"
    )
    emit(document, as_json, "\n".join([text, *found.notes]))


def _keep(
    channel: str, by: str, method: str, error: float, tolerance: float, within: bool,
    reference: str, offset: float,
) -> None:  # fmt: skip
    """Put a verification on the daemon's record; a good one sets the channel's offset."""
    from pitlogger.cli.client import Client

    Client().post(
        "/checks", instrument=channel, method=method, error=round(error),
        tolerance=round(tolerance), within=within, reference=reference, offset=round(offset),
        by=by,
    )  # fmt: skip


def _tolerance(reading: str, sensor: Sensor, given: str | None, policy: Policy) -> tuple[int, str]:
    """Return the tolerance in milli-kelvin and its source, in the unit the reading came in."""
    from pitlogger.errors import QuantityError
    from pitlogger.model.quantities import parse_temperature_step_mc
    from pitlogger.safety.instruments.checks import tolerance

    if given is not None:
        step_mc = parse_temperature_step_mc(given)
        if step_mc <= 0:
            raise QuantityError(f"a tolerance must be above zero, not '{given}'")
        return step_mc, "as given"
    unit = _unit(reading)
    limit = tolerance(policy, sensor, unit)
    return limit.mc, policy.cite(limit)


def _unit(reading: str) -> Unit:
    return "F" if reading.strip().casefold().endswith("f") else "C"


def _within(is_within: bool) -> str:
    return "limit met" if is_within else "limit not met: out of service until it is put right"


def _tell(found: ProbeCheck, reading: str, as_json: bool) -> None:
    from pitlogger.model.quantities import fahrenheit

    document: dict[str, Any] = {
        "check": found.kind,
        "expected_c": found.expected_mc / 1000,
        "expected_f": round(fahrenheit(found.expected_mc), 2),
        "reading_c": found.reading_mc / 1000,
        "error_c": found.error_mc / 1000,
        "tolerance_c": found.tolerance_mc / 1000,
        "within": found.is_within,
        "offset_c": found.offset_mc / 1000,
        "pressure_pa": None if found.pressure_pa is None else round(found.pressure_pa, 1),
        "altitude_m": found.altitude_m,
        "source": found.reference,
        "notes": list(CAUTIONS),
    }
    scale, name = (1.8, "F") if _unit(reading) == "F" else (1.0, "C")
    zero = 32.0 if name == "F" else 0.0
    text = (
        f"expected {found.expected_mc / 1000 * scale + zero:.1f} {name}, "
        f"error {found.error_mc / 1000 * scale:+.1f} {name}, "
        f"tolerance {found.tolerance_mc / 1000 * scale:.1f} {name}: {_within(found.is_within)}\n"
        f"offset to store: {found.offset_mc / 1000 * scale:+.1f} {name}\n{document['source']}"
    )
    emit(document, as_json, "\n".join([text, *CAUTIONS]))
