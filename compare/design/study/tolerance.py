"""What the scatter of cutting and gluing does to a design: lean, room when shut, closing.

First order (the law of propagation of uncertainty, JCGM 100:2008, 5.1.2) tells which length deserves the
care; Monte Carlo (JCGM 101:2008) tells how many dummies conform, because leans are not linear near their
limits.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from capture.arrays import Array
from compare.design.linkage.mechanism import Mechanism
from compare.design.linkage.steps import Cost
from compare.design.spec.spec import Spec
from compare.design.study.contact import binding_opening, binding_openings
from compare.vocabulary import Kind, Told, named, parsed, told_of
from measure.sides import SIDES

CHUNK: Final = 16384  # samples at a time: fits the processor's cache, and needs little memory
SAMPLES: Final = 200_000
SLOW_SAMPLES: Final = 4000  # where the mechanism must iterate
TIGHTEN_SAMPLES: Final = 20_000
CONTACT_SAMPLES: Final = 2000
SHUT_ENOUGH: Final = np.radians(5.0)  # a design that binds above this does not shut
WANTED: Final = 0.99  # share of dummies that shall conform


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """Part of the variance of a result that one length makes."""

    length: str
    rate: float  # of the result, per mm (or degree)
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter:
    """How one result scatters.

    Attributes
    ----------
    name : "lean right", "clearance left", "closing right" ...
    unit : "deg" or "mm".
    nominal : for exact lengths; mean, sd, low, high : of the samples (95 % lie from low to high).
    sd_linear : standard deviation to first order.
    within : share of the samples inside the design's limits; nan where there is none.
    shares : lengths by their part of the first-order variance, largest first.
    """

    name: str
    unit: str
    nominal: float
    mean: float
    sd: float
    low: float
    high: float
    sd_linear: float
    within: float
    shares: tuple[Share, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Study:
    """A design under scatter.

    Attributes
    ----------
    spreads : standard deviation of every length.
    samples : how many dummies were drawn.
    results : scatter of every lean, clearance and closing sum.
    level : share of dummies with every half level; conform : level and clear of the fore edges.
    contact : median opening (degrees) at which such dummies first bind, and the opening below which 95 %
        have bound; nan if the design itself does not shut.
    tighten : factor on all spreads at which `WANTED` of the dummies conform; nan if none is small enough.
    """

    spreads: Mapping[str, float]
    samples: int
    results: tuple[Scatter, ...]
    level: float
    conform: float
    contact: tuple[float, float]
    tighten: float


def spreads_of(spec: Spec, sd: float) -> dict[str, float]:
    """Return the standard deviation of every length, mm (degrees for angles); the spec's own go before `sd`.

    An angle is off by what `sd` is across the width of a glue line (or 40 mm where there is none).
    """
    n = spec.mechanism.lengths
    base = spec.tolerance.spread if np.isfinite(spec.tolerance.spread) else sd
    out = {}
    for name in n:
        own = base
        if name in spec.mechanism.degrees:
            width = n.get(parsed(name).other(Kind.WIDTH), 40.0)
            own = float(np.degrees(base / width))
        out[name] = spec.tolerance.spreads.get(name, own)
    return out


def draws(
    mechanism: Mechanism, spreads: Mapping[str, float], count: int, rng: np.random.Generator
) -> Iterator[dict[str, Array]]:
    """Lengths of `count` dummies, in chunks, each length normal about its nominal."""
    left = count
    while left > 0:
        k = min(CHUNK, left)
        yield {
            name: v + spreads[name] * rng.standard_normal(k) if spreads[name] > 0 else np.full(k, v)
            for name, v in mechanism.lengths.items()
        }
        left -= k


def results_of(spec: Spec, lengths: Mapping[str, Array], phi: float) -> dict[str, Array]:
    """Leans (degrees), clearances and closing sums (mm) of many dummies, by name."""
    m = spec.mechanism
    pose = m.solve(lengths, phi)
    out = {told_of(Told.LEAN, half): np.degrees(lean) for half, lean in pose.lean.items()}
    for side in SIDES:
        chains = [r.total(lengths) for r in m.reaches if r.side == side]
        page = named(Kind.PAGE, side)
        if chains and page in lengths:
            out[told_of(Told.CLEARANCE, side)] = lengths[page] - np.max(np.broadcast_arrays(*chains), axis=0)
    for loop in m.loops:
        total = np.zeros(())
        for sign, names in ((1.0, loop.one), (-1.0, loop.other)):
            for k in names:
                total = total + sign * loop.weights.get(k, 1.0) * lengths[k]
        out[told_of(Told.CLOSING, loop.name)] = total
    return out


def _limits(spec: Spec, name: str, nominal: float) -> tuple[float, float]:
    """Return what is allowed of a result; (-inf, inf) if nothing is said about it."""
    if parsed(name).told == Told.LEAN:
        level = spec.tolerance.level_deg
        return nominal - level, nominal + level
    if parsed(name).told == Told.CLEARANCE:
        return min(spec.tolerance.clearance, nominal), np.inf
    return -np.inf, np.inf


def _good(spec: Spec, values: Mapping[str, Array], nominal: Mapping[str, float]) -> tuple[Array, Array]:
    """Which dummies are level, and which are level and clear (boolean arrays as float)."""
    level, conform = np.ones(()), np.ones(())
    for name, v in values.items():
        low, high = _limits(spec, name, nominal[name])
        with np.errstate(invalid="ignore"):
            ok = ((v >= low) & (v <= high)).astype(float)
        if parsed(name).told == Told.LEAN:
            level = level * ok
        conform = conform * ok
    return level, conform


def _linear(
    spec: Spec, spreads: Mapping[str, float], phi: float
) -> dict[str, tuple[float, tuple[Share, ...]]]:
    """First-order standard deviation of every result and what each length adds to its variance."""
    m = spec.mechanism
    step = 1e-4
    names = [k for k in m.lengths if spreads[k] > 0]
    rows = {k: np.full(2 * len(names), v) for k, v in m.lengths.items()}
    for i, k in enumerate(names):
        rows[k][2 * i] += step
        rows[k][2 * i + 1] -= step
    out = {}
    for result, values in results_of(spec, rows, phi).items():
        v = np.broadcast_to(values, (2 * len(names),))
        rates = (v[0::2] - v[1::2]) / (2 * step)
        parts = (rates * np.array([spreads[k] for k in names])) ** 2
        total = float(parts.sum())
        shares = [
            Share(length=k, rate=float(r), share=float(p) / total)
            for k, r, p in zip(names, rates, parts, strict=True)
            if total > 0 and p > 1e-9 * total
        ]
        out[result] = (float(np.sqrt(total)), tuple(sorted(shares, key=lambda s: -s.share)))
    return out


def _tighten(
    spec: Spec, spreads: Mapping[str, float], nominal: Mapping[str, float], phi: float, count: int, seed: int
) -> float:
    """Factor on all spreads at which enough dummies conform: halving, always with the same dummies."""

    def share(factor: float) -> float:
        scaled = {k: v * factor for k, v in spreads.items()}
        rng = np.random.default_rng(seed)
        good = 0.0
        for lengths in draws(spec.mechanism, scaled, count, rng):
            good += float(_good(spec, results_of(spec, lengths, phi), nominal)[1].sum())
        return good / count

    if share(1e-3) < WANTED:
        return float("nan")
    low, high = 1e-3, 4.0
    if share(high) >= WANTED:
        return high
    for _ in range(12):
        middle = float(np.sqrt(low * high))
        low, high = (middle, high) if share(middle) >= WANTED else (low, middle)
    return low


def _contact(
    spec: Spec, spreads: Mapping[str, float], rng: np.random.Generator, count: int
) -> tuple[float, float]:
    """Median opening at which such dummies first bind, and the one below which 95 % have bound, degrees."""
    m = spec.mechanism
    if binding_opening(m, None, spec.opening) > SHUT_ENOUGH:
        return float("nan"), float("nan")
    lengths = {k: v + spreads[k] * rng.standard_normal(count) for k, v in m.lengths.items()}
    at = np.degrees(binding_openings(m, lengths, spec.opening))
    return float(np.median(at)), float(np.quantile(at, 0.95))


def is_slow(spec: Spec) -> bool:
    """Return whether legs and V-fold must be balanced by iteration."""
    return any(step.cost is Cost.SLOW for step in spec.mechanism.steps)


def study(spec: Spec, sd: float, rng: np.random.Generator, samples: int | None = None) -> Study:
    """Let all lengths of a design scatter and look at what comes out, at its own opening.

    Parameters
    ----------
    sd : standard deviation of a length the spec says nothing about, mm.
    samples : dummies to draw; as many as take about a second if None.
    """
    m = spec.mechanism
    phi = spec.opening
    slow = is_slow(spec)
    count = samples or (SLOW_SAMPLES if slow else SAMPLES)
    spreads = spreads_of(spec, sd)
    nominal = {
        k: float(v) for k, v in results_of(spec, {k: np.array(v) for k, v in m.lengths.items()}, phi).items()
    }
    linear = _linear(spec, spreads, phi)
    kept: dict[str, list[Array]] = {k: [] for k in nominal}
    level = conform = 0.0
    for lengths in draws(m, spreads, count, rng):
        values = results_of(spec, lengths, phi)
        flat, good = _good(spec, values, nominal)
        shape = next(iter(lengths.values())).shape
        level += float(np.broadcast_to(flat, shape).sum())
        conform += float(np.broadcast_to(good, shape).sum())
        for k, v in values.items():
            kept[k].append(np.broadcast_to(v, shape))
    results = tuple(_scatter(spec, k, nominal[k], np.concatenate(v), linear[k]) for k, v in kept.items())
    seed = int(rng.integers(2**31))
    few = min(count, TIGHTEN_SAMPLES)
    return Study(
        spreads=spreads,
        samples=count,
        results=results,
        level=level / count,
        conform=conform / count,
        contact=_contact(spec, spreads, rng, CONTACT_SAMPLES if not slow else CONTACT_SAMPLES // 20),
        tighten=_tighten(spec, spreads, nominal, phi, few if not slow else few // 2, seed),
    )


def _scatter(
    spec: Spec, name: str, nominal: float, v: Array, linear: tuple[float, Sequence[Share]]
) -> Scatter:
    """Return the summary of one result; samples that cannot be assembled count as outside."""
    low, high = _limits(spec, name, nominal)
    good = v[np.isfinite(v)]
    with np.errstate(invalid="ignore"):
        inside = float(np.mean((v >= low) & (v <= high)))
    limited = np.isfinite(low) or np.isfinite(high)
    few = good.size < 2
    return Scatter(
        name=name,
        unit="deg" if parsed(name).told == Told.LEAN or name == told_of(Told.CLOSING, Kind.VFOLD) else "mm",
        nominal=nominal,
        mean=float("nan") if few else float(good.mean()),
        sd=float("nan") if few else float(good.std(ddof=1)),
        low=float("nan") if few else float(np.quantile(good, 0.025)),
        high=float("nan") if few else float(np.quantile(good, 0.975)),
        sd_linear=linear[0],
        within=inside if limited else float("nan"),
        shares=tuple(linear[1]),
    )
