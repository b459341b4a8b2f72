"""What past cooks say about the next one: normal with unknown mean and variance.

Conjugate normal-inverse-chi-square in closed form; the next value follows Student's t. It
works with no data and becomes the textbook prediction interval, t with n - 1 degrees of
freedom, where nothing was believed before (``FLAT``).

Source: Gelman et al., Bayesian Data Analysis, 3rd edition, sections 3.2 and 3.3 (section
numbers from memory); Montgomery and Runger, Applied Statistics and Probability for
Engineers, 3rd edition, p. 269 (prediction interval).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pitlogger.yields.learned.student import t_cdf, t_quantile


def logit(share: float) -> float:
    """Return ln(y / (1 - y)) for a share strictly between 0 and 1."""
    return math.log(share / (1.0 - share))


def expit(x: float) -> float:
    """Return the share whose logit is ``x``."""
    return 1.0 / (1.0 + math.exp(-x)) if x > -700 else 0.0


@dataclass(frozen=True, slots=True)
class StudentT:
    """A shifted and scaled t distribution."""

    df: float
    centre: float
    scale: float

    def quantile(self, p: float) -> float:
        return self.centre + self.scale * t_quantile(p, self.df)

    def cdf(self, x: float) -> float:
        return t_cdf((x - self.centre) / self.scale, self.df)


def mixed_quantile(p: float, parts: Mapping[StudentT, float]) -> float:
    """Return the quantile of a mixture, given as distributions and weights that add up to 1."""
    ends = sorted(part.quantile(p) for part in parts)
    low, high = ends[0], ends[-1]
    while high - low > 1e-9:
        middle = 0.5 * (low + high)
        below = math.fsum(weight * part.cdf(middle) for part, weight in parts.items())
        low, high = (middle, high) if below < p else (low, middle)
    return 0.5 * (low + high)


@dataclass(frozen=True, slots=True)
class Belief:
    """Normal-inverse-chi-square.

    Attributes:
        mean: Centre of the mean.
        kappa: What the mean is worth, in observations.
        nu: Degrees of freedom of the variance.
        sum_squares: ``nu`` times the scale of the variance.
    """

    mean: float
    kappa: float
    nu: float
    sum_squares: float

    @property
    def is_proper(self) -> bool:
        """Return whether it can predict: always with a prior, from n = 2 without."""
        return self.kappa > 0 and self.nu > 0 and self.sum_squares > 0

    @property
    def spread(self) -> float:
        """Scale of the standard deviation from one to the next."""
        return math.sqrt(self.sum_squares / self.nu)

    def updated(self, values: Sequence[float], worth: float | None = None) -> Belief:
        """Return the belief after seeing values.

        Args:
            values: Observations on the scale of the belief.
            worth: How many independent ones they amount to for the mean, where several
                came from one cook and share its day; their number if not given.
        """
        if not values:
            return self
        n = float(len(values)) if worth is None else worth
        average = math.fsum(values) / len(values)
        kappa = self.kappa + n
        between = self.kappa * n / kappa * (average - self.mean) ** 2
        return Belief(
            mean=(self.kappa * self.mean + n * average) / kappa,
            kappa=kappa,
            nu=self.nu + len(values),
            sum_squares=self.sum_squares
            + math.fsum((value - average) ** 2 for value in values)
            + between,
        )

    def predictive(self, of_mean: float = 1.0) -> StudentT:
        """Return the distribution of the next value, or of the mean of the next few.

        Raises:
            ValueError: Fewer than two values and no prior.
        """
        if not self.is_proper:
            raise ValueError("no prediction from fewer than two values without a prior")
        scale = self.spread * math.sqrt(1.0 / of_mean + 1.0 / self.kappa)
        return StudentT(self.nu, self.mean, scale)


FLAT = Belief(mean=0.0, kappa=0.0, nu=-1.0, sum_squares=0.0)


def prior_belief(centre: float, between: float, within: float, df: float) -> Belief:
    """Return a prior from two standard deviations: between kitchens and within one."""
    return Belief(centre, (within / between) ** 2, df, df * within**2)
