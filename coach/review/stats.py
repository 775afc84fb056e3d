"""Statistics of samples that are not independent: mean, spread, standard error, and what settles a difference.

Formulas only; nothing here knows a drive.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# Student's t, two-sided 95 %, by degrees of freedom from 1 to 30 (any statistical table; a test compares with scipy).
_T95 = (
    12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228, 2.201, 2.179, 2.160, 2.145, 2.131, 2.120,
    2.110, 2.101, 2.093, 2.086, 2.080, 2.074, 2.069, 2.064, 2.060, 2.056, 2.052, 2.048, 2.045, 2.042,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Moments:
    """Of n readable values: `mean`, `spread` (standard deviation, n - 1; None for one value), `error` of the mean.

    `tau` is how many samples count as one independent one.
    """

    n: int
    mean: float
    spread: float | None
    error: float | None
    tau: float
    low: float
    high: float


def tau_of(value: Floats) -> float:
    """How many successive samples carry the information of one: 1 for independent samples, more where they cling.

    1 + 2 * the sum of the autocorrelations, taken in pairs of lags until a pair's sum is no longer positive (the
    initial positive sequence of Geyer 1992; from memory). At least 1; at most the number of samples.

    Args:
        value: shape (n,), finite, evenly or nearly evenly sampled.
    """
    n = len(value)
    if n < 4:
        return 1.0
    x = value - value.mean()
    scale = float(np.dot(x, x))
    if scale <= 1e-24 * n * max(1.0, float(np.max(np.abs(value))) ** 2):
        return 1.0
    size = 1 << (2 * n - 1).bit_length()
    spectrum = np.fft.rfft(x, size)
    rho = np.fft.irfft(spectrum * np.conj(spectrum), size)[:n] / scale
    # The first pair of Geyer's sequence is lags 0 and 1; from there on lags 2 and 3, and so on.
    first = 1.0 + float(rho[1])
    if first <= 0:
        return 1.0
    pairs = rho[2 : 2 + 2 * ((n - 2) // 2)].reshape(-1, 2).sum(axis=1)
    ends = np.flatnonzero(pairs <= 0)
    kept = pairs[: ends[0]] if len(ends) else pairs
    return float(min(max(1.0, 2.0 * (first + float(kept.sum())) - 1.0), n))


def moments(value: Floats, tau: float | None = None) -> Moments | None:
    """Moments of the finite values; None where there is none.

    The standard error is spread * sqrt(tau / n): samples that cling together say less than their number.

    Args:
        value: shape (n,).
        tau: where it is known from the whole of which `value` is a part; else it is computed.
    """
    good = value[np.isfinite(value)]
    n = len(good)
    if not n:
        return None
    low, high = float(good.min()), float(good.max())
    if low == high:  # summing would leave the last bits of a rounding, which no instrument has
        return Moments(n, low, None if n == 1 else 0.0, None if n == 1 else 0.0, 1.0, low, high)
    spread = float(good.std(ddof=1))
    tau = tau_of(good) if tau is None else tau
    error = spread * math.sqrt(tau / n) if n / tau >= 2 else None
    return Moments(n, float(good.mean()), spread, error, tau, low, high)


def t95(freedom: float) -> float:
    """Student's t for a two-sided 95 %; the value of the next lower whole number of degrees of freedom."""
    whole = max(1, math.floor(freedom + 1e-9))
    if whole <= len(_T95):
        return _T95[whole - 1]
    # Beyond the table: the first two terms of the expansion in 1 / freedom.
    z = 1.959964
    return z + (z**3 + z) / (4 * whole) + (5 * z**5 + 16 * z**3 + 3 * z) / (96 * whole**2)


@dataclass(frozen=True, slots=True)
class Difference:
    """`b - a` of two sets of repeats.

    Attributes:
        uncertainty: half the width of the 95 % interval; None where it cannot be told.
        real: the interval leaves out zero, and both sides have repeats.
        needed: how many repeats of each would settle a difference of this size; None where it is settled or unknown.
    """

    value: float
    uncertainty: float | None
    real: bool
    needed: int | None


MOST_REPEATS = 99


def difference(a: Floats, b: Floats, error_a: float | None = None, error_b: float | None = None) -> Difference:
    """The difference of two means with its 95 % interval, by Welch's unequal-variance t (Welch 1947).

    With fewer than two repeats on one side only sampling errors are known: they give an uncertainty that leaves out
    what changes from one repeat to the next, so that nothing is called real.

    Args:
        a, b: one value each repeat, finite, at least one each.
        error_a, error_b: standard error of a single repeat's value from sampling.
    """
    value = float(b.mean() - a.mean())
    if abs(value) <= 1e-12 * float(max(np.abs(a).max(), np.abs(b).max())):
        value = 0.0
    if len(a) < 2 or len(b) < 2:
        if error_a is None or error_b is None:
            return Difference(value, None, real=False, needed=None)
        return Difference(value, 1.96 * math.hypot(error_a, error_b), real=False, needed=None)
    # A spread below what sampling alone gives is luck: the larger of the two counts.
    var_a = max(float(a.var(ddof=1)), (error_a or 0.0) ** 2)
    var_b = max(float(b.var(ddof=1)), (error_b or 0.0) ** 2)
    va, vb = var_a / len(a), var_b / len(b)
    if va + vb == 0:
        return Difference(value, 0.0, real=value != 0, needed=None)
    freedom = (va + vb) ** 2 / (va**2 / (len(a) - 1) + vb**2 / (len(b) - 1))
    uncertainty = t95(freedom) * math.sqrt(va + vb)
    real = abs(value) > uncertainty
    return Difference(value, uncertainty, real=real, needed=None if real else repeats_needed(value, var_a, var_b))


def repeats_needed(value: float, var_a: float, var_b: float) -> int | None:
    """How many repeats of each would make a difference of `value` stand out, or None for more than 99.

    The smallest n with t(2n - 2) * sqrt((var_a + var_b) / n) below the difference: the chance to see it is then about
    one in two, so it is the least that makes sense.
    """
    for n in range(2, MOST_REPEATS + 1):
        if t95(2 * n - 2) * math.sqrt((var_a + var_b) / n) < abs(value):
            return n
    return None
