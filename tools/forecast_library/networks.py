"""Training of the small networks: seeded, in NumPy, nothing else.

Loss: ``log s + |y - m| / s``, the negative log likelihood of a Laplace variable: m becomes the
median and s the mean deviation where the features are such. Adam (Kingma and Ba 2015) with
decoupled decay of the weights (Loshchilov and Hutter 2019) and a step that dies out by a cosine.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import cos, pi

import numpy as np
import numpy.typing as npt

from pitlogger.forecast.network import Networks

Numbers = npt.NDArray[np.float64]
Array = npt.NDArray[np.float32]

HIDDEN = (128, 96)
BATCH = 512
STEP, DECAY = 4e-3, 3e-2
WARM_UP = 200  # batches over which the step grows to its full size
SOFT = 0.05  # share of s within which |y - m| is rounded off
LOG_S = (-4.0, 1.0)


@dataclass(frozen=True, slots=True)
class _Layer:
    """Weights, shape (inputs, outputs), and bias, shape (1, outputs): views of one vector."""

    weights: Array
    bias: Array


def fit_networks(
    z: Numbers, y: Numbers, seed: int, count: int, rounds: int, jitter: float = 0.0
) -> Networks:
    """Return ``count`` networks that tell y from z; single precision is plenty to find them.

    Args:
        z: Standardised features, shape (n, f). y: Log hours, shape (n,).
        rounds: How often each moment is looked at.
        jitter: Noise on each feature, in its spreads, anew at each look (Bishop 1995).
    """
    inputs, logs = z.astype(np.float32), y.astype(np.float32)
    fitted = [
        _fit(inputs, logs, np.random.default_rng(seed + index), rounds, jitter)
        for index in range(count)
    ]
    parts = zip(
        *([(layer.weights, layer.bias) for layer in layers] for layers in fitted), strict=True
    )
    return Networks(
        *(np.stack(same).astype(np.float64) for layer in parts for same in zip(*layer, strict=True))
    )


def _fit(z: Array, y: Array, dice: np.random.Generator, rounds: int, jitter: float) -> list[_Layer]:
    """Return the layers of one network, by Adam on all its weights as one vector."""
    sizes = (z.shape[1], *HIDDEN, 2)
    weights = np.concatenate([_drawn(dice, *shape) for shape in pairwise(sizes)])
    layers = _layers(weights, sizes)
    layers[-1].weights[:] *= 0.1
    layers[-1].bias[:] = y.mean(), -1.5
    mean, square = np.zeros_like(weights), np.zeros_like(weights)
    batches = len(y) // BATCH
    for index in range(rounds * batches):
        if index % batches == 0:
            order = dice.permutation(len(y))
        chosen = order[index % batches * BATCH :][:BATCH]
        noise = dice.standard_normal((len(chosen), z.shape[1]), dtype=np.float32)
        slopes = _slopes(layers, z[chosen] + jitter * noise, y[chosen])
        mean += 0.1 * (slopes - mean)
        square += 0.001 * (slopes * slopes - square)
        done = index + 1
        rate = STEP * 0.5 * (1.0 + cos(pi * done / (rounds * batches))) * min(1.0, done / WARM_UP)
        steady = mean / (1.0 - 0.9**done)
        weights -= rate * (
            steady / (np.sqrt(square / (1.0 - 0.999**done)) + 1e-8) + DECAY * weights
        )
    return layers


def _drawn(dice: np.random.Generator, inputs: int, outputs: int) -> Array:
    """Return first weights and zero biases of a layer as one vector (He et al. 2015)."""
    weights = dice.standard_normal(inputs * outputs) * np.sqrt(2.0 / inputs)
    return np.concatenate([weights, np.zeros(outputs)]).astype(np.float32)


def _layers(vector: Array, sizes: Sequence[int]) -> list[_Layer]:
    layers, at = [], 0
    for inputs, outputs in pairwise(sizes):
        end = at + inputs * outputs
        layers.append(
            _Layer(
                vector[at:end].reshape(inputs, outputs),
                vector[end : end + outputs].reshape(1, outputs),
            )
        )
        at = end + outputs
    return layers


def _slopes(layers: list[_Layer], z: Array, y: Array) -> Array:
    """Return the slope of the mean loss in every weight, in the order of the vector."""
    hidden, inputs, bends = z, [], []
    for layer in layers[:-1]:
        a = hidden @ layer.weights + layer.bias
        open_ = 1.0 / (1.0 + np.exp(-a))
        inputs.append(hidden)
        bends.append(open_ * (1.0 + a * (1.0 - open_)))
        hidden = a * open_
    inputs.append(hidden)
    said = hidden @ layers[-1].weights + layers[-1].bias
    s = np.exp(np.clip(said[:, 1], *LOG_S))
    left = y - said[:, 0]
    back = np.empty_like(said)
    back[:, 0] = -left / np.sqrt(left * left + (SOFT * s) ** 2) / s
    back[:, 1] = 1.0 - np.abs(left) / s
    back /= len(y)
    slopes: list[Array] = []
    for index in range(len(layers) - 1, -1, -1):
        slopes[:0] = [(inputs[index].T @ back).ravel(), back.sum(axis=0)]
        if index:
            back = (back @ layers[index].weights.T) * bends[index - 1]
    return np.concatenate(slopes)
