"""All that a dummy must keep, as functions of its lengths: level, pairs, sums, room when shut, binding.

The lengths are known with a joint covariance, so what follows from them is known with one too: the rates of
the linkage carry it there (JCGM 100:2008, 5.2.2), and the probability that everything holds at once is the
share of draws in which it does. Where card first meets card has no rate at a closing error of zero, so for
that each draw is closed (`compare.design.study.contact`).
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np

from capture.arrays import Array
from compare.cause.linkage_lean import seen_lean
from compare.design.linkage.mechanism import STEP_MM
from compare.design.spec.spec import Spec
from compare.design.study.contact import jammed
from compare.design.study.usual_binding import usual_of
from compare.verdict.conformity import Item
from compare.verdict.matched_pairs import matches_of
from compare.verdict.shut_reach import clearance_limits, closed_chains
from compare.vocabulary import Kind, Told, named, told_of
from measure.sides import SIDES

DRAWS: Final = 2000  # a probability moves by 0.01 from seed to seed at most
CLOSED_DRAWS: Final = 100  # of them are closed: within 0.05
CLOSED_AT: Final = 4  # openings at which each is looked at, from the usual binding up


@dataclass(frozen=True, slots=True)
class State:
    """What a dummy keeps with some lengths: items with uncertainty, and the probability that all hold."""

    items: tuple[Item, ...]
    probability: float
    shuts: float  # probability that it binds no earlier than ordinary hand work


@dataclass(frozen=True, eq=False, kw_only=True)
class Dummy:
    """All lengths of a dummy that an end-on photo can show, with their joint covariance.

    Attributes
    ----------
    names, values, cov : the lengths, mm, and their covariance, mm^2.
    seen : lengths that were measured, or follow from what was.
    phi : opening of the photo, rad.
    now : the items of the verdict by name.
    unexplained : lean -> degrees of it that no length makes.
    """

    spec: Spec
    names: tuple[str, ...]
    values: Array
    cov: Array
    seen: frozenset[str]
    phi: float
    now: Mapping[str, Item]
    unexplained: Mapping[str, float]

    @property
    def lengths(self) -> dict[str, float]:
        """The lengths by name, mm."""
        return dict(zip(self.names, self.values.tolist(), strict=True))

    @cached_property
    def demands(self) -> tuple[Item, ...]:
        """What must hold, each as an item of which nothing is known yet."""
        spec, nan = self.spec, float("nan")
        nominal, level = spec.mechanism.lengths, spec.tolerance.level_deg
        design = spec.mechanism.solve({}, self.phi)
        out = []
        for half in spec.mechanism.halves:
            lean = float(np.degrees(seen_lean(spec.mechanism, design, half.name)))
            lean = lean if np.isfinite(lean) else 0.0
            out.append(_demand(told_of(Told.LEAN, half.name), "deg", lean, -level, level))
        for match in matches_of(spec.mechanism):
            limit = spec.tolerance.matched * len(match.terms) / 2
            value = sum(nominal[k] * c for k, c in match.terms.items())
            out.append(_demand(match.name, "mm", value, -limit, limit))
        for side in SIDES:
            if (limits := clearance_limits(spec, side)) is not None:
                value, low = limits
                out.append(_demand(told_of(Told.CLEARANCE, side), "mm", value, low, np.inf))
        if not out:  # a drawn linkage of which no rule is known: its lengths are all there is
            allowed = {k: spec.tolerance.of(k) for k in self.names}
            out = [_demand(k, "mm", nominal[k], -allowed[k], allowed[k]) for k in self.names]
        return tuple(replace(self.now.get(i.name, i), measured=nan, u=nan) for i in out)

    @cached_property
    def _noise(self) -> Array:
        return np.random.default_rng(17).standard_normal((DRAWS, len(self.names)))

    def _values(self, rows: Mapping[str, Array]) -> Array:
        """Return what must hold (rows, demands) for lengths (rows,)."""
        m = self.spec.mechanism
        pose = m.solve(rows, self.phi)
        out = []
        for half in m.halves:
            lean = np.degrees(seen_lean(m, pose, half.name))
            out.append(lean + self.unexplained.get(told_of(Told.LEAN, half.name), 0.0))
        for match in matches_of(m):
            out.append(sum((rows[k] * c for k, c in match.terms.items()), np.zeros(())))
        for side in SIDES:
            if clearance_limits(self.spec, side) is not None:
                chains = [r.total(rows) for r in closed_chains(self.spec, side)]
                out.append(rows[named(Kind.PAGE, side)] - np.max(chains, axis=0))
        return np.stack(np.broadcast_arrays(*(out or [rows[k] for k in self.names])), axis=-1)

    def state(self, lengths: Mapping[str, float], cov: Array, *, closing: bool = True) -> State:
        """Return what holds with these lengths (mm) and this covariance (mm^2).

        Parameters
        ----------
        closing : also close draws, to see where they bind.
        """
        at = np.array([lengths[k] for k in self.names])
        n = len(at)
        rows = np.broadcast_to(at, (2 * n + 1, n)).copy()
        rows[1 : n + 1] += STEP_MM * np.eye(n)
        rows[n + 1 :] -= STEP_MM * np.eye(n)
        values = self._values(dict(zip(self.names, rows.T, strict=True)))
        rates = (values[1 : n + 1] - values[n + 1 :]) / (2 * STEP_MM)  # (lengths, demands)
        w, v = np.linalg.eigh(cov)
        off = self._noise @ (v * np.sqrt(np.clip(w, 0, None))).T
        drawn = values[0] + off @ rates
        low = np.array([i.nominal + i.low for i in self.demands])
        high = np.array([i.nominal + i.high for i in self.demands])
        good = np.all((drawn >= low) & (drawn <= high), axis=1)
        with np.errstate(invalid="ignore"):
            u = np.sqrt(np.maximum(np.einsum("ij,ik,kj->j", rates, cov, rates), 0.0))
        items = tuple(
            replace(i, measured=float(y), u=float(s))
            for i, y, s in zip(self.demands, values[0], u, strict=True)
        )
        shut = self._shuts(at + off[good][:CLOSED_DRAWS]) if closing and good.any() else 1.0
        return State(items=items, probability=float(np.mean(good)) * shut, shuts=shut)

    def _shuts(self, draws: Array) -> float:
        """Return the share of draws (n, lengths) that bind no earlier than such dummies usually do."""
        usual = usual_of(self.spec.mechanism, self.spec.opening)
        if not np.isfinite(usual) or usual >= self.phi:
            return 1.0
        grid = np.linspace(usual, self.phi, CLOSED_AT + 1)[:-1]
        columns = {k: draws[:, i : i + 1] for i, k in enumerate(self.names)}
        pose = self.spec.mechanism.solve(columns, np.broadcast_to(grid, (len(draws), len(grid))))
        return 1.0 - float(np.mean(jammed(self.spec.mechanism, pose).any(axis=1)))


def _demand(name: str, unit: str, nominal: float, low: float, high: float) -> Item:
    nan = float("nan")
    return Item(name=name, unit=unit, nominal=nominal, measured=nan, u=nan, low=low, high=high)
