"""How a measured length runs over a lot: steady, drifting, or changed at a certain sample.

Four descriptions are compared: constant, a straight drift, a step at some sample, and level until some
sample and drifting from there. Each but the first is one shape laid through the values by least squares, and
Schwarz's criterion (BIC; Annals of Statistics 6, 1978) chooses, a searched-for sample counting as a further
parameter. How often chance alone would do as well is found by shuffling the values (a permutation test:
valid for any distribution).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from capture.arrays import Array

Kind = Literal["steady", "drift", "step", "drift from"]

SHUFFLES: Final = 999
LONGEST: Final = 400  # longer histories are averaged in blocks: nothing is lost at the scale of a drift
EDGE: Final = 3  # values needed on each side of a change
SURE: Final = 0.01  # probability of chance below which a change is told


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """How the values run.

    Attributes
    ----------
    kind : "steady", "drift" (all along), "step" (at `start`) or "drift from" (`start` on).
    start : index of the first changed value; 0 for a drift all along, -1 if steady.
    change : last fitted value minus first fitted value, in the unit of the values.
    chance : probability that shuffled values look as changed as this.
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


def _shapes(n: int) -> tuple[Array, list[tuple[Kind, int]]]:
    """Shapes (m, n), centred and of unit length, and what each stands for."""
    t = np.arange(n, dtype=float)
    rows, names = [t], [("drift", 0)]
    for k in range(EDGE, n - EDGE + 1):
        rows.append((t >= k).astype(float))
        names.append(("step", k))
    for k in range(EDGE, n - EDGE):
        rows.append(np.maximum(t - (k - 1), 0.0))
        names.append(("drift from", k))
    shapes = np.array(rows)
    shapes -= shapes.mean(axis=1, keepdims=True)
    shapes /= np.sqrt(np.sum(shapes**2, axis=1, keepdims=True))
    return shapes, [(kind, k) for kind, k in names]  # type: ignore[misc]


def _criterion(left: Array, total: Array, n: int, extra: Array) -> Array:
    """Return the gain in Schwarz's criterion over "constant"; left, total: sums of squares."""
    floor = np.maximum(left, 1e-12 * total + 1e-300)
    out: Array = n * np.log(np.maximum(total, 1e-300) / floor) - extra * np.log(n)
    return out


def _blocks(values: Array, longest: int) -> tuple[Array, int]:
    """Average long series in blocks of equal length; the few values left over at the start are dropped."""
    size = -(-len(values) // longest)
    count = len(values) // size
    return values[len(values) - count * size :].reshape(count, size).mean(axis=1), size


def _chance(
    shapes: Array, centred: Array, extra: Array, gain: float, rng: np.random.Generator, times: int
) -> float:
    """Return how often shuffled values are described as much better as these."""
    n = len(centred)
    total = np.array(centred @ centred)
    as_good, left = 0, times
    while left > 0:
        shuffled = rng.permuted(np.broadcast_to(centred, (min(left, SHUFFLES), n)), axis=1)
        gains = _criterion(total - (shapes @ shuffled.T) ** 2, total, n, extra[:, None]).max(axis=0)
        as_good += int(np.sum(gains >= gain))
        left -= len(shuffled)
    return (1 + as_good) / (1 + times)


def course(
    values: Sequence[float] | Array,
    rng: np.random.Generator,
    *,
    sure: float = SURE,
    longest: int = LONGEST,
) -> Course:
    """Describe the course of values in the order they were made.

    Parameters
    ----------
    values : (n,) in order. rng : for the shuffles.
    sure : probability of chance below which a change is told; divide by the number of lengths looked at.
    longest : series with more values are averaged in blocks.

    Returns
    -------
    Course; "steady" with chance 1 where there are too few values (under 8) to tell.
    """
    whole = np.asarray(values, dtype=float)
    steady = Course(
        kind="steady",
        start=-1,
        change=0.0,
        chance=1.0,
        spread=float(np.std(whole, ddof=1)) if len(whole) > 1 else float("nan"),
        fitted=np.full(len(whole), whole.mean() if len(whole) else np.nan),
    )
    if len(whole) < 8 or not np.ptp(whole) > 0:
        return steady
    x, size = _blocks(whole, longest)
    n = len(x)
    shapes, names = _shapes(n)
    extra = np.array([1.0 if kind == "drift" else 2.0 for kind, _ in names])
    centred = x - x.mean()
    total = float(centred @ centred)
    along = shapes @ centred
    gains = _criterion(total - along**2, np.array(total), n, extra)
    best = int(np.argmax(gains))
    gain = float(gains[best])
    chance = _chance(shapes, centred, extra, gain, rng, SHUFFLES)
    if chance <= 2 / (1 + SHUFFLES) and sure < chance:  # too few shuffles to be that sure
        chance = _chance(shapes, centred, extra, gain, rng, int(10 / sure))
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
    fitted = np.repeat(x.mean() + along[best] * shapes[best], size)
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
