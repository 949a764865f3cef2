"""How a measured length runs over a lot: steady, drifting, or changed at a certain sample.

Four descriptions are compared: constant, a straight drift, a step at some sample, and level until some
sample and drifting from there. Each but the first is one shape laid through the values by weighted least
squares, and Schwarz's criterion (BIC; Annals of Statistics 6, 1978) chooses, a searched-for sample counting
as a further parameter. How often chance alone would do as well is found by shuffling the values (a
permutation test: valid for any distribution), and, where neighbours are alike beyond the shape, also among
made-up series whose neighbours are as much alike: production that wanders a little is not changed.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from capture.arrays import Array

Kind = Literal["steady", "drift", "step", "drift from"]

SHUFFLE_SEED: Final = 7870  # the same values are always told the same way
SHUFFLES: Final = 999
LONGEST: Final = 400  # longer histories are averaged in blocks: nothing is lost at the scale of a drift
EDGE: Final = 3  # values needed on each side of a change
FEWEST: Final = 8  # values below which nothing is told
SURE: Final = 0.01  # probability of chance below which a change is told, shared among all that is looked at
WORTH: Final = 0.25  # a change smaller than this share of the tolerance is not worth a word
MOST_ALIKE: Final = 0.9  # correlation of neighbours above which a series cannot be told from a drift


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """How the values run.

    Attributes
    ----------
    kind : "steady", "drift" (all along), "step" (at `start`) or "drift from" (`start` on).
    start : index of the first changed value; 0 for a drift all along, -1 if steady.
    change : last fitted value minus first fitted value, in the unit of the values.
    chance : probability that values in order of chance look as changed as this.
    spread : standard deviation about the fitted course.
    fitted : (n,) the course.
    """

    kind: Kind
    start: int
    change: float
    chance: float
    spread: float
    fitted: Array

    @property
    def changed(self) -> bool:
        """True if it is not steady beyond reasonable doubt."""
        return self.kind != "steady"

    def matters(self, half: float) -> bool:
        """Return whether it changed by enough to matter; half : distance of the nearer limit."""
        return self.changed and abs(self.change) >= WORTH * half


def shuffles_of(base: int, name: str) -> np.random.Generator:
    """Return the shuffles for one length: a lot and its history judge it alike, whatever else they judge."""
    return np.random.default_rng([base, *name.encode()])


def base_of(rng: np.random.Generator) -> int:
    """Return a number that the shuffles of all lengths begin from."""
    return int(rng.integers(2**31))


def _shapes(n: int) -> tuple[Array, list[tuple[Kind, int]]]:
    """Shapes (m, n), and what each stands for."""
    t = np.arange(n, dtype=float)
    rows: list[Array] = [t]
    names: list[tuple[Kind, int]] = [("drift", 0)]
    for k in range(EDGE, n - EDGE + 1):
        rows.append((t >= k).astype(float))
        names.append(("step", k))
    for k in range(EDGE, n - EDGE):
        rows.append(np.maximum(t - (k - 1), 0.0))
        names.append(("drift from", k))
    return np.array(rows) / n, names


@dataclass(frozen=True, slots=True, eq=False)
class _Fits:
    """Every shape laid through N series: slopes (N, m), gains in the criterion (N, m)."""

    slopes: Array
    gains: Array


def _fits(shapes: Array, extra: Array, x: Array, w: Array) -> _Fits:
    """Lay every shape through series x with weights w, both (N, n)."""
    n = x.shape[1]
    if not np.ptp(w) > 0:  # all alike: one shape is as good in every order
        w = w[:1]
    whole = w.sum(axis=1, keepdims=True)
    x = x - (w * x).sum(axis=1, keepdims=True) / whole
    wx = w * x  # sums to zero
    total = (wx * x).sum(axis=1, keepdims=True)
    along = wx @ shapes.T
    sums = w @ shapes.T
    across = w @ (shapes**2).T - sums**2 / whole
    left = total - along**2 / across
    floor = np.maximum(left, 1e-12 * total + 1e-300)
    gains = n * np.log(np.maximum(total, 1e-300) / floor) - extra * np.log(n)
    return _Fits(along / across, gains)


def _blocks(values: Array, weights: Array, longest: int) -> tuple[Array, Array, int]:
    """Average long series in blocks of equal length; the few values left over at the start are dropped."""
    size = -(-len(values) // longest)
    count = len(values) // size
    x, w = (a[len(a) - count * size :].reshape(count, size) for a in (values, weights))
    return (w * x).sum(axis=1) / w.sum(axis=1), w.mean(axis=1), size


def _as_good(shapes: Array, extra: Array, series: Array, weights: Array, gain: float) -> int:
    return int(np.sum(_fits(shapes, extra, series, weights).gains.max(axis=1) >= gain))


def _chance(
    shapes: Array, extra: Array, x: Array, w: Array, gain: float, rng: np.random.Generator, times: int
) -> float:
    """Return how often shuffled values (each with its weight) are described as much better as these."""
    as_good, left = 0, times
    while left > 0:
        order = rng.permuted(np.broadcast_to(np.arange(len(x)), (min(left, SHUFFLES), len(x))), axis=1)
        as_good += _as_good(shapes, extra, x[order], w[order], gain)
        left -= len(order)
    return (1 + as_good) / (1 + times)


def likeness(left: Array) -> float:
    """Return the correlation of neighbours, corrected for the shape that was laid through before.

    What is left over after fitting is pulled toward alternating: the mean of the estimate is about
    rho - (3 + 6 rho) / n (by simulation of 14, 24 and 48 values; for a mean taken out alone M. G. Kendall,
    Biometrika 41, 1954, has rho - (1 + 3 rho) / n: value recalled from memory).
    """
    n = len(left)
    square = float(left @ left)
    if n <= 6 or not square > 0:
        return 0.0
    seen = float(left[1:] @ left[:-1]) / square
    return float(np.clip((n * seen + 3) / (n - 6), 0.0, MOST_ALIKE))


def _chance_alike(
    shapes: Array, extra: Array, w: Array, alike: float, gain: float, rng: np.random.Generator, times: int
) -> float:
    """Return how often normal series whose neighbours correlate by `alike` are described as much better."""
    n = len(w)
    as_good, left = 0, times
    while left > 0:
        series = rng.normal(size=(min(left, SHUFFLES), n))
        for k in range(1, n):
            series[:, k] = alike * series[:, k - 1] + np.sqrt(1 - alike**2) * series[:, k]
        as_good += _as_good(shapes, extra, series, np.broadcast_to(w, series.shape), gain)
        left -= len(series)
    return (1 + as_good) / (1 + times)


def course(
    values: Sequence[float] | Array,
    rng: np.random.Generator,
    *,
    weights: Sequence[float] | Array | None = None,
    sure: float = SURE,
    longest: int = LONGEST,
) -> Course:
    """Describe the course of values in the order they were made.

    Parameters
    ----------
    values : (n,) in order. rng : for the shuffles. weights : (n,) of the values; None = all alike.
    sure : probability of chance below which a change is told; divide by the number of lengths looked at.
    longest : series with more values are averaged in blocks.

    Returns
    -------
    Course; "steady" with chance 1 where there are too few values (`FEWEST`) to tell.
    """
    whole = np.asarray(values, dtype=float)
    heavy = np.ones(len(whole)) if weights is None else np.asarray(weights, dtype=float)
    mean = float((heavy * whole).sum() / heavy.sum()) if len(whole) else float("nan")
    steady = Course(
        kind="steady",
        start=-1,
        change=0.0,
        chance=1.0,
        spread=float(np.std(whole, ddof=1)) if len(whole) > 1 else float("nan"),
        fitted=np.full(len(whole), mean),
    )
    if len(whole) < FEWEST or not np.ptp(whole) > 0:
        return steady
    x, w, size = _blocks(whole, heavy, longest)
    n = len(x)
    shapes, names = _shapes(n)
    extra = np.array([1.0 if kind == "drift" else 2.0 for kind, _ in names])
    fits = _fits(shapes, extra, x[None], w[None])
    best = int(np.argmax(fits.gains[0]))
    gain = float(fits.gains[0, best])
    middle = float((w * x).sum() / w.sum())
    shape = shapes[best] - float((w * shapes[best]).sum() / w.sum())
    path = middle + fits.slopes[0, best] * shape
    chance = _chance(shapes, extra, x, w, gain, rng, SHUFFLES)
    if chance <= 2 / (1 + SHUFFLES) and sure < chance:  # too few shuffles to be that sure
        chance = _chance(shapes, extra, x, w, gain, rng, int(10 / sure))
    if gain > 0 and chance <= sure and (alike := likeness(x - path)) > 0:
        chance = max(chance, _chance_alike(shapes, extra, w, alike, gain, rng, int(10 / sure)))
    if gain <= 0 or chance > sure:
        return Course(
            kind="steady",
            start=-1,
            change=0.0,
            chance=chance,
            spread=steady.spread,
            fitted=steady.fitted,
        )
    kind, start = names[best]
    fitted = np.repeat(path, size)
    fitted = np.concatenate([np.full(len(whole) - len(fitted), fitted[0]), fitted])
    spread = float(np.sqrt(np.sum((whole - fitted) ** 2) / (len(whole) - 2)))
    return Course(
        kind=kind,
        start=0 if kind == "drift" else len(whole) - n * size + start * size,
        change=float(fitted[-1] - fitted[0]),
        chance=chance,
        spread=spread,
        fitted=fitted,
    )
