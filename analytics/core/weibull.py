"""The Weibull distribution of lives, some of which are not over yet."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log, sqrt

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq
from scipy.special import chdtri, logsumexp, ndtri

from bondtrail.samples import ValueArray


@dataclass(frozen=True, slots=True)
class Quantity:
    """A figure with its interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Weibull:
    """A Weibull distribution: a share ``1 - exp(-(t / scale) ** shape)`` has failed by age t.

    Attributes
    ----------
    shape : Quantity
        Below 1 the young fail most, at 1 age does not matter, above 1 the old fail most.
    scale : float
        Age by which 63.2 % have failed.
    log_likelihood : float
        Of the fit.
    log_covariance : ndarray of float64, shape (2, 2)
        Of the logarithms of scale and shape, from the observed information.
    confidence : float
        Of all intervals.
    """

    shape: Quantity
    scale: float
    log_likelihood: float
    log_covariance: npt.NDArray[np.float64]
    confidence: float

    def age(self, share: float) -> Quantity:
        """Return the age by which a share above 0 and below 1 has failed, with its interval.

        The interval is approximate: normal on the logarithm of the age.
        """
        depth = log(-log(1 - share)) / self.shape.value
        slope = np.array([1.0, -depth])
        reach = float(ndtri((1 + self.confidence) / 2))
        reach *= sqrt(float(slope @ self.log_covariance @ slope))
        middle = log(self.scale) + depth
        return Quantity(exp(middle), exp(middle - reach), exp(middle + reach))


def fit_weibull(
    ages: ValueArray, failed: npt.NDArray[np.bool_], confidence: float = 0.95
) -> Weibull | None:
    """Return the Weibull distribution that lives follow, by maximum likelihood.

    Parameters
    ----------
    ages : ndarray of float64, shape (n,)
        Above 0, finite, in any unit of time.
    failed : ndarray of bool, shape (n,)
        Whether the life was over at that age; if not, it is known to be longer (right-censored).
    confidence : float
        Of the intervals, above 0 and below 1.

    Returns
    -------
    Weibull or None
        None below 2 failures, or where they are all of the highest age: the shape has no end.

    Raises
    ------
    ValueError
        If an age is not above 0 and finite, or the arrays differ in length.

    Notes
    -----
    The interval of the shape is where twice the logarithm of the marginal likelihood, with the
    scale integrated out, lies less than the chi-squared quantile below its highest: it asks for
    one failure less than the likelihood does. Measured on 5 exponential lives, the lower end of
    a 95 % interval then lies above 1 in 4 % of cases; that of the likelihood itself does in 10 %.

    References
    ----------
    .. [1] J. F. Lawless, Statistical Models and Methods for Lifetime Data, 2nd edition (2003),
       chapter 5.
    """
    if ages.shape != failed.shape:
        raise ValueError(f"ages and failed differ in length: {ages.size} and {failed.size}")
    if not (np.isfinite(ages).all() and (ages > 0).all()):
        raise ValueError("ages must be above 0 and finite")
    count = int(failed.sum())
    if count < 2 or (ages[failed] == ages.max()).all():
        return None
    logs = np.log(ages)
    shapes = _Shapes(logs - logs.max(), failed)
    shape = shapes.likeliest(count)
    log_scale = float(logsumexp(shape * logs) - log(count)) / shape
    return Weibull(
        shape=Quantity(shape, *shapes.interval(confidence)),
        scale=exp(log_scale),
        log_likelihood=_log_likelihood(logs[failed], log_scale, shape),
        log_covariance=_log_covariance(shape * (logs - log_scale), shape),
        confidence=confidence,
    )


class _Shapes:
    """How likely shapes are, given the logarithms of ages less the highest of them."""

    def __init__(self, logs: ValueArray, failed: npt.NDArray[np.bool_]) -> None:
        self.logs = logs
        self.count = int(failed.sum())
        self.failed = float(logs[failed].sum())

    def marginal(self, shape: float) -> float:
        """Return the logarithm of the marginal likelihood, but for a constant."""
        spread = self.count * float(logsumexp(shape * self.logs))
        return (self.count - 1) * log(shape) + shape * self.failed - spread

    def likeliest(self, count: int) -> float:
        """Return the shape of the highest likelihood, for ``count`` failures in its first term."""

        def slope(shape: float) -> float:
            weight = np.exp(shape * self.logs)
            middle = float((weight * self.logs).sum() / weight.sum())
            return count / shape + self.failed - self.count * middle

        low = high = 1.0
        while slope(low) < 0:
            low /= 2
        while slope(high) > 0:
            high *= 2
        return float(brentq(slope, low, high, xtol=1e-14)) if low < high else low

    def interval(self, confidence: float) -> tuple[float, float]:
        """Return the shapes between which the marginal likelihood is high enough."""
        likeliest = self.likeliest(self.count - 1)
        floor = self.marginal(likeliest) - float(chdtri(1, 1 - confidence)) / 2

        def above(shape: float) -> float:
            return self.marginal(shape) - floor

        low, high = likeliest / 2, likeliest * 2
        while above(low) > 0:
            low /= 2
        while above(high) > 0:
            high *= 2
        return float(brentq(above, low, likeliest)), float(brentq(above, likeliest, high))


def _log_likelihood(failed: ValueArray, log_scale: float, shape: float) -> float:
    """Return it at its highest, where the powers of all ages add up to the count of failures."""
    count = failed.size
    return float(
        count * log(shape) + ((shape - 1) * failed).sum() - shape * log_scale * count - count
    )


def _log_covariance(excess: ValueArray, shape: float) -> npt.NDArray[np.float64]:
    """Return the covariance of log scale and log shape at the highest likelihood.

    ``excess`` are the logarithms of ``(age / scale) ** shape``.
    """
    weight = np.exp(excess)
    count = float(weight.sum())
    mixed = -shape * float((weight * excess).sum())
    return np.linalg.inv(
        np.array(
            [
                [shape**2 * count, mixed],
                [mixed, count + float((weight * excess**2).sum())],
            ]
        )
    )
