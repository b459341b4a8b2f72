"""The prior of the physical model: fitted to whole simulated cooks, all at once.

Each cook gets its own nine parameters by damped least squares (numeric derivatives, every
cook and every derivative a member of one ensemble). Their mean is then regressed on size,
wrap and shape; what is left over is the prior's spread.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pitlogger.forecast.reduced import PARAMETERS, STEP_H, Members, Prior, covariates, rates, step
from pitlogger.forecast.shape import FAMILY
from tools.forecast_library.population import Cooks

Array = npt.NDArray[np.float64]

# Centre from which fits start (published reduced-order fit); spread that keeps them sane.
CENTRE = np.array(
    [*np.log((0.39, 0.73, 21.5, 0.76, 5.1, 0.105)), 3.4, np.log(1.15), 0.7], dtype=np.float64
)
SPREAD = np.array([0.8, 0.6, 0.8, 0.8, 0.9, 1.2, 6.0, 0.5, 0.3])
ROUNDS = 25
RIDGE = 1.0
INFLATION = 1.15


@dataclass(frozen=True, slots=True)
class Fitted:
    """Parameters of each cook, (9, n), root mean square misfit, (n,), and the regressors."""

    theta: Array
    rms_c: Array
    about: Array


def fit_prior(cooks: Cooks) -> tuple[Prior, float]:
    """Return the prior and the median misfit in C."""
    fitted = fit_cooks(cooks)
    good = fitted.rms_c < 3.0
    about, theta = fitted.about[good], fitted.theta[:, good]
    penalty = RIDGE * np.eye(about.shape[1])
    penalty[0, 0] = 0.0
    coefficients = np.linalg.solve(about.T @ about + penalty, about.T @ theta.T).T
    left = theta - coefficients @ about.T
    covariance = np.cov(left) * INFLATION**2 + 1e-4 * np.eye(len(PARAMETERS))
    means = np.asarray(coefficients, dtype=np.float64)
    return Prior(means, np.asarray(np.linalg.cholesky(covariance), dtype=np.float64)), float(
        np.median(fitted.rms_c)
    )


def fit_cooks(cooks: Cooks) -> Fitted:
    """Return the parameters that bring the model nearest to each cook's noise-free core."""
    core, pit, wrapped_at, weight = _coarse(cooks)
    n = core.shape[1]
    theta = np.repeat(CENTRE[:, None], n, axis=1)
    damping = np.full(n, 1.0)
    cost = _cost(theta, core, pit, wrapped_at, weight)
    for _ in range(ROUNDS):
        left, slopes = _linearised(theta, core, pit, wrapped_at, weight)
        pull = ((theta - CENTRE[:, None]) / SPREAD[:, None] ** 2).T
        gradient = np.einsum("ptn,tn->np", slopes, left) - pull
        bend = np.einsum("ptn,qtn->npq", slopes, slopes) + np.diag(SPREAD**-2.0)
        own = np.diagonal(bend, axis1=1, axis2=2)[:, None, :] * np.eye(len(PARAMETERS))
        damped = bend + damping[:, None, None] * own
        move = np.linalg.solve(damped, gradient[:, :, None])[:, :, 0].T
        tried = theta + move
        tried_cost = _cost(tried, core, pit, wrapped_at, weight)
        better = tried_cost < cost
        theta = np.where(better, tried, theta)
        cost = np.where(better, tried_cost, cost)
        damping = np.clip(np.where(better, damping * 0.4, damping * 4.0), 1e-3, 1e4)
    left = (core - _run(theta, core[0], pit, wrapped_at)) * (weight > 0)
    rms = np.sqrt((left**2).sum(axis=0) / (weight > 0).sum(axis=0))
    about = np.array(
        [
            covariates(cooks.thickness_mm[i] / 2, cooks.wrap[i], FAMILY[cooks.family[i]][2])
            for i in range(n)
        ]
    )
    return Fitted(theta, rms, about)


def _coarse(cooks: Cooks) -> tuple[Array, Array, Array, Array]:
    """Return core, pit, wrapping step and weights on the model's grid."""
    every = round(STEP_H * 60)
    core = cooks.core_c[::every][: round(22 / STEP_H)]
    rows = range(0, len(core) * every, every)
    pit = np.array([cooks.pit_c[row : row + every].mean(axis=0) for row in rows])
    wrapped = np.where(cooks.wrapped_min < 0, 10**6, cooks.wrapped_min / every)
    done = np.maximum.accumulate(core >= 96.0, axis=0)
    weight = np.where(done, 0.0, 1.0 / 0.8)  # misfit of the model itself, C
    weight[0] = 0.0
    return core, pit, wrapped, weight


def _run(theta: Array, core0: Array, pit: Array, wrapped_at: Array) -> Array:
    by = rates(theta)
    state = Members(core0.copy(), core0.copy(), by.w0.copy(), np.zeros(len(core0), dtype=bool))
    said = np.empty((len(pit), len(core0)))
    said[0] = core0
    for index in range(1, len(pit)):
        state.wrapped = index - 1 >= wrapped_at
        step(state, by, 0.5 * (pit[index - 1] + pit[index]))
        said[index] = state.core_c
    return said


def _cost(theta: Array, core: Array, pit: Array, wrapped_at: Array, weight: Array) -> Array:
    left = (core - _run(theta, core[0], pit, wrapped_at)) * weight
    about = ((theta - CENTRE[:, None]) / SPREAD[:, None]) ** 2
    return np.asarray((left**2).sum(axis=0) + about.sum(axis=0))


def _linearised(
    theta: Array, core: Array, pit: Array, wrapped_at: Array, weight: Array
) -> tuple[Array, Array]:
    """Return weighted misfits (t, n) and their slopes (9, t, n) from one wide run."""
    count, n = theta.shape
    shift = 0.02 * SPREAD
    wide = np.tile(theta, count + 1)
    for index in range(count):
        wide[index, (index + 1) * n : (index + 2) * n] += shift[index]
    many = count + 1
    said = _run(wide, np.tile(core[0], many), np.tile(pit, many), np.tile(wrapped_at, many))
    said = said.reshape(len(core), many, n)
    slopes = (said[:, 1:] - said[:, :1]) / shift[None, :, None]
    return (core - said[:, 0]) * weight, np.moveaxis(slopes * weight[:, None, :], 1, 0)
