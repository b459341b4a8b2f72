"""Predicted growth of bacteria in warm meat: a warning only, never a verdict.

Primary model of Baranyi and Roberts without a ceiling, which integrates exactly for any
history: with I the integral of the rate (natural log), growth = ln[(1 + q0 e^I)/(1 + q0)].
The unit of each rate stands with its parameters; for the 2011 set, whose unit was not
stated in the copy read, the policy decides (log10/h errs on the careful side).
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache

from pitlogger.model.cooks import HOT_OFF_PIT, ON_PIT, Stage
from pitlogger.safety import shipped
from pitlogger.safety.history import PieceHistory, Point, within
from pitlogger.safety.policy import Policy
from pitlogger.safety.verdict import NEVER_JUDGED, NO_PROBE, Verdict, not_concerned

TOO_HOT_MC = 55_000  # above it nothing grows by any of the models
_STEP_MC = 50  # of temperature, and
_STEP_MS = 60_000  # of time: within these Simpson's rule follows every rate here to 1e-6
_BY_FAMILY = {
    "chicken": "CP_chicken_2011", "turkey": "CP_chicken_2011",
    "pork-shoulder": "CP_pork_2011", "pork-belly": "CP_pork_2011", "pork-ribs": "CP_pork_2011",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class GrowthModel:
    """A rate of growth by temperature, with the unit it was published in."""

    id: str
    organism: str
    matrix: str
    form: str
    rate_unit: str  # log10/h, 1/h, or policy
    source: str
    parameters: Mapping[str, float]

    def rate(self, temp_c: float) -> float:
        """Return the rate as published, in the model's own unit; zero outside its range."""
        p = self.parameters
        if not p["t_min"] < temp_c < p["t_max"]:
            return 0.0
        if self.form == "square-root":
            return float(
                p["b2"]
                * (temp_c - p["t_min"]) ** 2
                * (1 - math.exp(p["c"] * (temp_c - p["t_max"])))
            )
        if self.form == "cardinal":
            return _cardinal(temp_c, p["rate_opt"], p["t_min"], p["t_opt"], p["t_max"])
        return _salt_ph(temp_c, p)

    def per_hour(self, temp_c: float, unit: str) -> float:
        """Return the natural-log rate, 1/h, taking ``unit`` where the model leaves it open."""
        known = unit if self.rate_unit == "policy" else self.rate_unit
        return self.rate(temp_c) * (math.log(10) if known == "log10/h" else 1.0)

    @property
    def q0(self) -> float | None:
        """The lag parameter; ``None`` where none was published: then there is no lag."""
        return self.parameters.get("q0")


def _cardinal(temp_c: float, best: float, low_c: float, opt_c: float, high_c: float) -> float:
    """Return the cardinal-temperature rate (Rosso and others)."""
    span = opt_c - low_c
    below = span * (span * (temp_c - opt_c) - (opt_c - high_c) * (opt_c + low_c - 2 * temp_c))
    return best * (temp_c - high_c) * (temp_c - low_c) ** 2 / below


def _salt_ph(temp_c: float, p: Mapping[str, float]) -> float:
    """Return the rate by temperature, pH and salt, the water activity from the salt."""
    salt = p["salt_pct"]
    activity = 1 - salt * (5.2471 + 0.12206 * salt) / 1000
    by_heat = (temp_c - p["t_min"]) ** 2 * (1 - math.exp(p["c"] * (temp_c - p["t_max"])))
    by_water = (activity - p["aw_min"]) * (2 - activity - p["aw_min"])
    return float(p["a"] * by_heat * by_water * (p["ph"] - p["ph_min"]))


@cache
def models() -> dict[str, GrowthModel]:
    """Return the growth models that ship, by id."""
    tables = tomllib.loads(shipped.text("data", "growth_models.toml"))
    return {name: GrowthModel(id=name, **table) for name, table in tables.items()}


def model_for(family: str) -> GrowthModel:
    """Return the model of a family of cuts; beef, the fastest, where none fits."""
    return models()[_BY_FAMILY.get(family, "CP_beef_2011")]


@dataclass(slots=True)
class GrowthClock:
    """Integrates a growth rate over readings; plain values, so it can be stored."""

    model: str
    unit: str
    integral: float = 0.0  # natural log
    last_ms: int | None = None
    last_mc: float = 0.0

    def update(self, t_ms: int, core_mc: float) -> None:
        """Take one reading; the line from the last one is followed in small steps.

        Across a hole too: what grew there is not known, and the line is the best guess.
        """
        if self.last_ms is not None and t_ms > self.last_ms:
            self.integral += self._area(t_ms - self.last_ms, core_mc)
        self.last_ms, self.last_mc = t_ms, core_mc

    def _area(self, span_ms: int, core_mc: float) -> float:
        model, change = models()[self.model], core_mc - self.last_mc
        steps = max(math.ceil(span_ms / _STEP_MS), math.ceil(abs(change) / _STEP_MC), 1)
        total = 0.0
        for step in range(steps):
            ends = [self.last_mc + change * (step + share) / steps for share in (0.0, 0.5, 1.0)]
            rates = [model.per_hour(value / 1000, self.unit) for value in ends]
            total += (rates[0] + 4 * rates[1] + rates[2]) / 6
        return total * span_ms / steps / 3_600_000

    @property
    def log10(self) -> float:
        """Growth so far with the lag, log10; without one where none is known."""
        q0 = models()[self.model].q0
        return growth_log10(self.integral, q0)


def growth_log10(integral: float, q0: float | None) -> float:
    """Return growth in log10 for an integral of the natural-log rate."""
    if q0 is None:
        return integral / math.log(10)
    # log1p and the factored exponential keep large integrals from overflowing.
    grown = integral + math.log(q0 + math.exp(-integral)) - math.log1p(q0)
    return grown / math.log(10)


def growth_clock(family: str, policy: Policy) -> GrowthClock:
    """Return a clock for a family, to be fed a core from the end of cooking on."""
    return GrowthClock(model_for(family).id, policy.growth_unit.value)


def growth(
    history: PieceHistory, points: list[Point], policy: Policy, cooked_ms: int | None = None
) -> Verdict:
    """Return the growth predicted after cooking, as a warning: ``met`` is always ``None``."""
    source = policy.cite(policy.growth_warning_log10)
    since_ms = _since_ms(history, points, cooked_ms)
    if since_ms is None:
        return not_concerned(source, "not off the pit: nothing to predict")
    fed = within(points, since_ms, history.end_ms)
    if not fed:
        return Verdict(True, None, source, NO_PROBE)
    predicted = max(_predict(history.family, policy, values) for values in _curves(fed))
    model = model_for(history.family)
    unit = policy.growth_unit.value if model.rate_unit == "policy" else model.rate_unit
    limit = policy.growth_warning_log10.value
    word = "above" if predicted > limit else "not above"
    reason = (
        f"{model.organism}, {model.matrix}: {predicted:.2f} log10 predicted, {word} {limit:g}; "
        f"rate read as {unit} ({model.source}): {NEVER_JUDGED}"
    )
    return Verdict(True, None, source, reason)


def _since_ms(
    history: PieceHistory, points: list[Point], cooked_ms: int | None = None
) -> int | None:
    """Return the end of cooking: off the pit, or the last time too hot to grow."""
    if history.spans:
        off = history.during(HOT_OFF_PIT | {Stage.COOLING, Stage.CHILLED, Stage.SERVED})
        on_pit = history.during(ON_PIT)
        ends = [to_ms for _, to_ms in on_pit] or [from_ms for from_ms, _ in off]
        if off or cooked_ms is None:
            return ends[-1] if off else None
        fell = points and points[-1].high_mc < TOO_HOT_MC
        hot = [p.t_ms for p in points if p.high_mc >= TOO_HOT_MC]
        return max(cooked_ms, hot[-1]) if fell and hot else None
    hot = [point.t_ms for point in points if point.high_mc >= TOO_HOT_MC]
    return hot[-1] if hot else None


def _curves(fed: Iterable[Point]) -> list[list[tuple[int, int]]]:
    points = list(fed)
    low = [(point.t_ms, point.low_mc) for point in points]
    high = [(point.t_ms, point.high_mc) for point in points]
    return [low] if low == high else [low, high]


def _predict(family: str, policy: Policy, values: list[tuple[int, int]]) -> float:
    clock = growth_clock(family, policy)
    for t_ms, value_mc in values:
        clock.update(t_ms, value_mc)
    return clock.log10
