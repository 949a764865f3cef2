"""A design as a linkage: its lengths, what they join, what must be equal, and where everything stands.

Every design of the house comes down to one of these, whatever it is called in the trade; measuring, verdict,
remedy and motion all ask the mechanism and know no construction by name.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from capture.arrays import Array
from compare.design.linkage.pose import Pose, as_array
from compare.design.linkage.steps import Bench, Step
from compare.vocabulary import Kind, named, parsed
from measure.layout import Panel

SMALLEST_PHI: Final = 1e-7  # rad; "closed" is the limit: at exactly 0 a folded loop has no direction
STEP_MM: Final = 1e-4
STEP_PHI: Final = 1e-5


@dataclass(frozen=True, slots=True, kw_only=True)
class Loop:
    """A closing rule: the lengths one way round must sum to the lengths the other way, to lie flat shut.

    Attributes
    ----------
    name : "feet", "right", "stage 2 left", "flap right" ...
    one, other : length names; `one` minus `other` is the closing error. If it is positive the last panel of
        `other` goes flat on its page too early, if negative the plane folds up.
    weights : factor of a length where it is not 1.
    """

    name: str
    one: tuple[str, ...]
    other: tuple[str, ...]
    weights: Mapping[str, float] = field(default_factory=dict)

    def sums(self, lengths: Mapping[str, float]) -> tuple[float, float]:
        """Return the two sums, mm (degrees for a V-fold)."""
        one, other = (
            sum(lengths[k] * self.weights.get(k, 1.0) for k in names) for names in (self.one, self.other)
        )
        return one, other

    def error(self, lengths: Mapping[str, float]) -> float:
        """Return the closing error."""
        one, other = self.sums(lengths)
        return one - other


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """Two lengths that match: equal in a plain parallelogram, else their difference is the design's."""

    name: str
    first: str
    second: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Half:
    """One half of a plane.

    Attributes
    ----------
    name : "left", "right", "stage 2 right" ...; key of `Pose.lean`.
    side : "left" or "right".
    page : the panel it should lie parallel to; plane : the half's own panel.
    governs : lengths that decide its lean.
    """

    name: str
    side: str
    page: str
    plane: str
    governs: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """A chain of lengths that lies stretched from the spine outwards when shut."""

    side: str
    joint: str
    lengths: tuple[str, ...]
    weights: Mapping[str, float] = field(default_factory=dict)

    def total(self, lengths: Mapping[str, ArrayLike]) -> Array:
        """Return how far it reaches, mm."""
        out = np.zeros(())
        for k in self.lengths:
            out = out + as_array(lengths[k]) * self.weights.get(k, 1.0)
        return out


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Mechanism:
    """A linkage with one freedom, the opening of the base.

    Attributes
    ----------
    lengths : name -> nominal, mm, in report order; those named in `degrees` are angles in degrees.
    ends : length name -> the two joints between which it is measured end-on ("feet" included, which is not
        a length of card but the distance of the two inner feet); lengths not seen end-on are left out.
    panels : what an end-on photo shows, each with its joints in order.
    loops, pairs, halves, reaches : see there.
    floors : panel -> the page or plane on which it stands, pointing outwards when shut.
    steps : how it is laid out.
    outlines : further lines of card through points in space, only for drawing.
    one_behind_other : its panels lie one behind the other along the spine, so that lines that cross end-on
        need not be card that meets card.
    glued_at : the point the plane is glued to and travels with along the spine; "" = its ridge.
    lifts : joint -> how many card thicknesses it lies above the plane below for lying on top of it.
    """

    lengths: Mapping[str, float]
    ends: Mapping[str, tuple[str, str]]
    panels: tuple[Panel, ...]
    loops: tuple[Loop, ...]
    pairs: tuple[Pair, ...]
    halves: tuple[Half, ...]
    reaches: tuple[Reach, ...]
    floors: Mapping[str, str]
    steps: tuple[Step, ...]
    degrees: frozenset[str] = frozenset()
    lifts: Mapping[str, int] = field(default_factory=dict)
    outlines: tuple[tuple[str, ...], ...] = ()
    one_behind_other: bool = False
    glued_at: str = ""

    def solve(self, lengths: Mapping[str, ArrayLike], phi: ArrayLike) -> Pose:
        """Joints, directions and leans for these lengths at this opening.

        Parameters
        ----------
        lengths : name -> mm (degrees for angles), scalars or arrays that broadcast with each other and `phi`.
            Names of the mechanism that are missing are taken from the design.
        phi : opening, rad.

        Returns
        -------
        Pose; nan where it cannot be assembled.
        """
        n = {k: as_array(v) for k, v in {**self.lengths, **lengths}.items()}
        opening = np.maximum(as_array(phi), SMALLEST_PHI)
        bench = Bench(lengths=n, phi=opening)
        for step in self.steps:
            step.run(bench)
        turns = bench.turns
        angles = {}
        for panel, floor in self.floors.items():
            side = parsed(floor).side
            turn = turns[named(Kind.PAGE, side)] - turns[panel]
            angles[panel] = (1.0 if side == "right" else -1.0) * turn
        lean = {
            h.name: (1.0 if h.side == "right" else -1.0) * (turns[named(Kind.PAGE, h.side)] - turns[h.plane])
            for h in self.halves
        }
        return Pose(
            phi=opening,
            joints=bench.joints,
            turns=turns,
            angles=angles,
            lean=lean,
            stretch=bench.stretch,
            points=bench.points,
            nod=bench.nod,
        )

    def closing_errors(self, lengths: Mapping[str, float] | None = None) -> dict[str, float]:
        """Return the closing error of every loop, mm (degrees for the angles of a V-fold)."""
        n = {**self.lengths, **(lengths or {})}
        return {loop.name: loop.error(n) for loop in self.loops}

    def half(self, name: str) -> Half:
        """Return one half by its name."""
        return next(h for h in self.halves if h.name == name)

    def rates(
        self,
        lengths: Mapping[str, float],
        phi: float,
        quantity: Callable[[Pose], Array],
        names: tuple[str, ...] | None = None,
    ) -> dict[str, Array]:
        """How a quantity of the pose changes with each length (per mm or degree) and "opening" (per rad).

        Central differences of the closed form, all at once: exact to about 1e-9 for the sizes of a book.

        Parameters
        ----------
        quantity : Pose -> (n,) or (n, ...) array for n samples.
        names : lengths wanted; all if None.
        """
        n = {**self.lengths, **lengths}
        wanted = tuple(n) if names is None else names
        rows = 2 * len(wanted) + 2
        shifted = {k: np.full(rows, float(v)) for k, v in n.items()}
        for i, k in enumerate(wanted):
            shifted[k][2 * i] += STEP_MM
            shifted[k][2 * i + 1] -= STEP_MM
        openings = np.full(rows, phi)
        openings[-2] += STEP_PHI
        openings[-1] -= STEP_PHI
        value = quantity(self.solve(shifted, openings))
        out = {k: (value[2 * i] - value[2 * i + 1]) / (2 * STEP_MM) for i, k in enumerate(wanted)}
        out["opening"] = (value[-2] - value[-1]) / (2 * STEP_PHI)
        return out

    def lean_rates(self, lengths: Mapping[str, float], phi: float, half: str) -> dict[str, float]:
        """How the lean of one half changes with each length that governs it (rad/mm) and "opening"."""
        rates = self.rates(lengths, phi, lambda pose: pose.lean[half], self.half(half).governs)
        return {k: float(v) for k, v in rates.items()}
