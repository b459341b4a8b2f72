"""The physical model: two nodes and a wet surface, fitted to the readings as an ensemble.

States: core, shell, wetness. With time in hours, temperatures in C and p(T) the vapour
pressure of water in atmospheres,

    core'    = (shell - core) / t1
    shell'   = a (pit + d - shell) - 6 b w x (p(shell) - 0.06) - c (shell - core)
    wetness' = -w^q / td * clip((shell - 50) / 20, 0, 1.5)      while unwrapped

x is 1 while open and exp(ww) once wrapped. An exponent q under 1 lets the surface dry out
at an end, as measured stalls do, rather than fade. Members start from a joint normal prior
(``Prior``, fitted to simulated cooks), are run from loading with the measured pit and drawn
to the readings by an ensemble smoother with multiple data assimilation (Emerick & Reynolds
2013): no derivatives, fixed cost. Then they run on to the target. Members that never arrive
count against ``p_reach`` and not in the quantiles: otherwise the late tail is nonsense.

Vapour pressure: ``1000 exp(16.3872 - 3885.70 / (T + 230.170))`` Pa, within 0.55 % of IAPWS
from 5 to 110 C. Random numbers are those of NumPy's frozen legacy generator, so the same
request gives the same ensemble on every NumPy.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import log

import numpy as np
import numpy.typing as npt

from pitlogger.forecast.history import History
from pitlogger.forecast.request import Ensemble, Request
from pitlogger.forecast.shape import wrap_shares

Array = npt.NDArray[np.float64]

PARAMETERS = ("ln_t1", "ln_a", "ln_b", "ln_c", "ln_td", "ww", "d", "ln_w0", "q")
STEP_H = 1 / 6
MEMBERS = 120
PASSES = 3
HORIZON_H = 24.0
SIGMA_C, SIGMA_C_PER_H = 0.6, 1.2  # model error of an observation, growing with its age
RECENT, SPREAD = 7, 14  # observations of the last hour and over the time before
UNKNOWN_PIT_SD_C = 8.0
_LOW = np.array([-4.0, -4.0, -1.0, -4.0, -1.5, -6.0, -25.0, -3.0, 0.0])
_HIGH = np.array([2.5, 2.5, 6.0, 2.5, 4.0, 0.0, 25.0, 1.5, 1.2])


@dataclass(frozen=True, slots=True)
class Prior:
    """Joint normal prior. ``coefficients``: shape (9, 5), on (1, ln half-thickness / 31 mm,
    foil share, paper share, compactness); ``factor``: lower Cholesky factor, (9, 9)."""

    coefficients: Array
    factor: Array


@dataclass(slots=True)
class Members:
    """States of an ensemble, each of shape (m,)."""

    core_c: Array
    shell_c: Array
    wet: Array
    wrapped: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class StepParameters:
    """Parameters as the step uses them, each of shape (m,)."""

    mixing: Array
    a: Array
    b6: Array
    c: Array
    td: Array
    sealed: Array
    d: Array
    w0: Array
    q: Array


def rates(theta: Array) -> StepParameters:
    """Return rates for parameters of shape (9, m)."""
    t1, a, b, c, td, ww, d, w0, q = np.clip(theta, _LOW[:, None], _HIGH[:, None])
    return StepParameters(
        mixing=1.0 - np.exp(-STEP_H / np.exp(t1)),
        a=np.exp(a),
        b6=6.0 * np.exp(b),
        c=np.exp(c),
        td=np.exp(td),
        sealed=np.exp(ww),
        d=d,
        w0=np.exp(w0),
        q=q,
    )


def step(state: Members, by: StepParameters, pit_c: float | Array) -> None:
    """Advance the members by ten minutes in place (linearly implicit in the shell)."""
    shell = state.shell_c
    warm = shell + 230.170
    pressure = np.exp(16.3872 - 3885.70 / warm - 4.618332)  # over 101.325 kPa
    open_ = np.where(state.wrapped, by.sealed, 1.0)
    wet = by.b6 * state.wet * open_
    rate = by.a * (pit_c + by.d - shell) - wet * (pressure - 0.06) - by.c * (shell - state.core_c)
    stiffness = by.a + by.c + wet * pressure * 3885.70 / (warm * warm)
    moved = shell + STEP_H * rate / (1.0 + STEP_H * stiffness)
    drying = np.clip((shell - 50.0) / 20.0, 0.0, 1.5) * (STEP_H / by.td)
    fraction = np.where(state.wrapped, 0.0, drying * state.wet**by.q)
    state.wet = np.maximum(state.wet - fraction, 1e-3)
    state.core_c = state.core_c + by.mixing * (0.5 * (shell + moved) - state.core_c)
    state.shell_c = moved


def fit(request: Request, past: History, prior: Prior, covariates: Array) -> Posterior:
    """Return the ensemble drawn to the readings, standing at the present.

    Args:
        covariates: As ``Prior`` names them, shape (5,).
    """
    core, pit = past.core_c[::-1][::2][::-1], past.pit_c[::-1][::2][::-1]
    steps = len(core) - 1
    wrapped_at = _wrapped_step(request, steps)
    normal = _normals()
    theta = (prior.coefficients @ covariates)[:, None] + prior.factor @ normal[:9]
    if not past.pit_known:
        theta[6] += UNKNOWN_PIT_SD_C * normal[9]
    start = _late_start(core[0], normal) if not past.from_loading else None
    if start is not None:
        theta[7] += np.log(np.clip(1.0 - 0.5 * np.abs(normal[11]), 0.1, 1.0))
    observed, age_h = _observations(steps)
    sigma = np.hypot(SIGMA_C, SIGMA_C_PER_H * age_h)
    dice = _dice()
    for index in range(PASSES if len(observed) else 0):
        said, _ = _replay(theta, core[0], pit, wrapped_at, start)
        said = said[observed]
        noise = sigma[:, None] * np.sqrt(PASSES) * dice[index, : len(observed)]
        about_y = said - said.mean(axis=1, keepdims=True)
        about_theta = theta - theta.mean(axis=1, keepdims=True)
        spread = about_y @ about_y.T / (MEMBERS - 1) + np.diag(PASSES * sigma**2)
        cross = about_theta @ about_y.T / (MEMBERS - 1)
        theta = theta + cross @ np.linalg.solve(spread, core[observed, None] + noise - said)
    said, state = _replay(theta, core[0], pit, wrapped_at, start)
    gap = core[-1] - state.core_c
    state.core_c = state.core_c + gap
    state.shell_c = state.shell_c + gap
    return Posterior(rates(theta), state, past.pit_now_c())


@dataclass(frozen=True, slots=True)
class Posterior:
    """An ensemble at the present: rates, states and the pit expected from now on."""

    by: StepParameters
    state: Members
    pit_c: float


def arrive(
    posterior: Posterior,
    target_c: float,
    *,
    pit_change_c: float = 0.0,
    wrap_at_c: float | None = None,
    wrap_in_h: float | None = None,
) -> Array:
    """Return hours until each member first reaches the target, ``inf`` if not within a day."""
    by = posterior.by
    held = posterior.state
    state = Members(held.core_c.copy(), held.shell_c.copy(), held.wet.copy(), held.wrapped.copy())
    hours = np.full(len(state.core_c), np.inf)
    hours[state.core_c >= target_c] = 0.0
    pit = posterior.pit_c + pit_change_c
    for index in range(round(HORIZON_H / STEP_H)):
        if wrap_at_c is not None:
            state.wrapped = state.wrapped | (state.core_c >= wrap_at_c)
        if wrap_in_h is not None and index * STEP_H >= wrap_in_h - 1e-9:
            state.wrapped = np.ones_like(state.wrapped)
        before = state.core_c
        step(state, by, pit)
        crossed = np.isinf(hours) & (state.core_c >= target_c)
        if crossed.any():
            part = (target_c - before) / np.maximum(state.core_c - before, 1e-9)
            hours = np.where(crossed, (index + part) * STEP_H, hours)
            if not np.isinf(hours).any():
                break
    return np.asarray(hours)


def summarise(hours: Array, now_s: float) -> Ensemble:
    """Return log centre, log spread and share of the members that arrive."""
    there = hours[np.isfinite(hours)]
    if len(there) < 5:
        return Ensemble(now_s, None, 1.0, len(there) / len(hours))
    low, middle, high = np.quantile(np.log(np.maximum(there, 1 / 60)), (0.1, 0.5, 0.9))
    return Ensemble(now_s, float(middle), float(high - low) / 2.563, len(there) / len(hours))


def _replay(
    theta: Array, core0_c: float, pit: Array, wrapped_at: int, start: Array | None
) -> tuple[Array, Members]:
    """Run from loading to now; return cores of shape (steps + 1, m) and the last state."""
    by = rates(theta)
    m = theta.shape[1]
    core = np.full(m, core0_c)
    shell = core.copy() if start is None else core + start
    state = Members(core, shell, by.w0.copy(), np.zeros(m, dtype=bool))
    said = np.empty((len(pit), m))
    said[0] = core
    for index in range(1, len(pit)):
        if index - 1 >= wrapped_at:
            state.wrapped = np.ones(m, dtype=bool)
        step(state, by, 0.5 * (pit[index - 1] + pit[index]))
        said[index] = state.core_c
    if len(pit) - 1 >= wrapped_at:
        state.wrapped = np.ones(m, dtype=bool)
    return said, state


def _wrapped_step(request: Request, steps: int) -> int:
    """Return the step from which the piece was wrapped, one past the end if it is bare."""
    if request.wrap in (None, "none"):
        return steps + 1
    if request.wrapped_s is None:
        return steps
    return max(steps - round((request.now_s - request.wrapped_s) / 3600.0 / STEP_H), 0)


def _late_start(core0_c: float, normal: Array) -> Array:
    """Return how much warmer than the core the shell is when logging begins in mid-cook."""
    usual = np.interp(core0_c, (5.0, 40.0, 70.0, 95.0), (5.0, 20.0, 6.0, 3.0))
    return np.asarray(usual * (1.0 + 0.5 * normal[10]))


def _observations(steps: int) -> tuple[npt.NDArray[np.intp], Array]:
    recent = np.arange(max(steps - RECENT + 1, 1), steps + 1)
    earlier = np.linspace(1, max(steps - RECENT, 1), SPREAD).round()
    index = np.unique(np.concatenate([earlier, recent])).astype(np.intp)
    index = index[index <= steps]
    return index, np.asarray((steps - index) * STEP_H, dtype=np.float64)


@lru_cache(maxsize=1)
def _normals() -> Array:
    """Standard normal draws, shape (12, m), mean and scale of each row exact."""
    draws = np.random.RandomState(20130307).standard_normal((12, MEMBERS))
    draws -= draws.mean(axis=1, keepdims=True)
    return np.asarray(draws / draws.std(axis=1, keepdims=True))


@lru_cache(maxsize=1)
def _dice() -> Array:
    return np.random.RandomState(7).standard_normal((PASSES, RECENT + SPREAD + 4, MEMBERS))


def covariates(half_mm: float, wrap: str, compact: float) -> Array:
    """Return what the prior mean depends on, shape (5,)."""
    foil, paper = wrap_shares(wrap)
    return np.array([1.0, log(half_mm / 31.0), foil, paper, compact])
