"""Panels of a drawn linkage that no pair of circles lays: followed from the drawing by Newton's method."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar, Final

import numpy as np

from capture.arrays import Array
from compare.design.linkage.pose import heading
from compare.design.linkage.steps import Bench, Cost, Step, Terms

STEP_RAD: Final = float(np.radians(3.0))  # of the opening, when following from the drawing
NEAREST: Final = 2e-3  # rad; nearer to shut than any stack of card goes
JUMP_RAD: Final = 0.6  # a panel that turns by more in one step has changed to another branch
STEP_MM: Final = 1.0  # of the lengths, when following from the design to a dummy
MOST_STEPS: Final = 20
BIGGEST: Final = 5.0  # mm (rad), of one step of Newton's method
ROUNDS: Final = 12
CLOSED_MM: Final = 1e-8


@dataclass(frozen=True, eq=False, kw_only=True)
class Follow:
    """Panels that cannot be laid two by two: Newton's method, followed from the drawing in small steps.

    panels : name -> its joints and the terms of their distances from the first.
    known : joints laid by the steps `before`.
    drawn_turns, drawn_joints : the drawing; drawn_phi : its opening; nominal : its lengths.
    """

    cost: ClassVar[Cost] = Cost.SLOW

    panels: Mapping[str, tuple[tuple[str, Terms], ...]]
    known: frozenset[str]
    drawn_turns: Mapping[str, float]
    drawn_joints: Mapping[str, tuple[float, float]]
    drawn_phi: float
    nominal: Mapping[str, float]
    before: tuple[Step, ...]

    def _ties(self) -> list[tuple[str, str, str | None]]:
        """Return (joint, panel, second panel or None for a joint already known)."""
        seen: dict[str, str] = {}
        out: list[tuple[str, str, str | None]] = []
        for panel, joints in self.panels.items():
            for joint, _ in joints:
                if joint in self.known:
                    out.append((joint, panel, None))
                elif joint in seen:
                    out.append((joint, panel, seen[joint]))
                else:
                    seen[joint] = panel
        return out

    def _at(self, bench: Bench, x: Array, panel: str, joint: str) -> tuple[Array, Array]:
        """Return where a joint is for unknowns x (..., 3n), and how far along its panel."""
        i = 3 * list(self.panels).index(panel)
        t = bench.total(dict(self.panels[panel])[joint])
        return x[..., i : i + 2] + t[..., None] * heading(x[..., i + 2]), t

    def _equations(self, bench: Bench, x: Array) -> tuple[Array, Array]:
        """Return gaps (..., 2m) and their derivatives (..., 2m, 3n)."""
        names = list(self.panels)
        gaps, rows = [], []
        for joint, panel, other in self._ties():
            row = np.zeros((*x.shape[:-1], 2, x.shape[-1]))
            here, t = self._at(bench, x, panel, joint)
            i = 3 * names.index(panel)
            row[..., 0, i], row[..., 1, i + 1] = 1.0, 1.0
            row[..., :, i + 2] = t[..., None] * heading(x[..., i + 2] + np.pi / 2)
            if other is None:
                there = bench.joints[joint]
            else:
                there, t = self._at(bench, x, other, joint)
                k = 3 * names.index(other)
                row[..., 0, k], row[..., 1, k + 1] = -1.0, -1.0
                row[..., :, k + 2] = -t[..., None] * heading(x[..., k + 2] + np.pi / 2)
            gaps.append(here - there)
            rows.append(row)
        return np.concatenate(gaps, axis=-1), np.concatenate(rows, axis=-2)

    def start(self) -> Array:
        """Return the drawing as unknowns (3n,): first joint and direction of every panel."""
        parts = []
        for panel, joints in self.panels.items():
            parts += [*self.drawn_joints[joints[0][0]], self.drawn_turns[panel]]
        return np.array(parts)

    def looseness(self) -> int:
        """Return how many freedoms too many the panels have as drawn."""
        bench = self._bench({k: np.array(v) for k, v in self.nominal.items()}, np.array(self.drawn_phi))
        _, rows = self._equations(bench, self.start())
        return int(rows.shape[-1]) - int(np.linalg.matrix_rank(rows, tol=1e-6))

    def _bench(self, lengths: Mapping[str, Array], phi: Array) -> Bench:
        bench = Bench(lengths={k: np.asarray(v) for k, v in lengths.items()}, phi=np.asarray(phi))
        for step in self.before:
            step.run(bench)
        return bench

    def _newton(self, bench: Bench, x: Array) -> tuple[Array, Array]:
        """Return the unknowns that close all gaps from a near start, and the largest gap left, mm."""
        gaps = np.zeros(x.shape)
        for _ in range(ROUNDS):
            gaps, rows = self._equations(bench, x)
            square = np.swapaxes(rows, -1, -2) @ rows + 1e-12 * np.eye(rows.shape[-1])
            step = np.linalg.solve(square, np.swapaxes(rows, -1, -2) @ gaps[..., None])[..., 0]
            x = x - np.clip(step, -BIGGEST, BIGGEST)
            if not np.any(np.abs(step) > 1e-11):
                break
        return x, np.max(np.abs(gaps), axis=-1)

    @cached_property
    def _path(self) -> tuple[Array, Array]:
        """Openings (k,) ascending from nearly shut to flat and the unknowns (k, 3n) there, nominal lengths.

        Followed from the drawing in both directions; it ends where the linkage cannot follow or would jump.
        """
        lengths = {k: np.array(v) for k, v in self.nominal.items()}
        found = {self.drawn_phi: self.start()}
        for way in (-1.0, 1.0):
            phi, x = self.drawn_phi, self.start()
            while (NEAREST < phi) if way < 0 else (phi < np.pi):
                phi = min(max(phi + way * min(STEP_RAD, max(phi / 4, NEAREST)), NEAREST), float(np.pi))
                new, gap = self._newton(self._bench(lengths, np.array(phi)), x)
                turned = np.abs(new[2::3] - x[2::3]).max()
                if not gap < CLOSED_MM or turned > JUMP_RAD:
                    break
                x = new
                found[phi] = x
        at = np.array(sorted(found))
        return at, np.array([found[p] for p in at])

    def run(self, bench: Bench) -> None:
        """Lay the panels; nan where they cannot follow."""
        shape = np.broadcast_shapes(bench.phi.shape, *(v.shape for v in bench.lengths.values()))
        phi = np.broadcast_to(bench.phi, shape)
        at, path = self._path
        nearest = np.abs(phi[..., None] - at).argmin(axis=-1)
        x = path[nearest]
        within = np.abs(phi - at[nearest]) <= STEP_RAD
        off = max(float(np.max(np.abs(v - self.nominal[k]))) for k, v in bench.lengths.items())
        count = min(max(int(np.ceil(off / STEP_MM)), 1), MOST_STEPS)
        gap = np.zeros(shape)
        for k in range(1, count + 1):  # from the design's lengths to those asked for
            lengths = {
                name: self.nominal[name] + (v - self.nominal[name]) * (k / count)
                for name, v in bench.lengths.items()
            }
            x, gap = self._newton(self._bench(lengths, phi), x)
        x = np.where(((gap < CLOSED_MM) & within)[..., None], x, np.nan)
        for i, (panel, joints) in enumerate(self.panels.items()):
            bench.turns[panel] = x[..., 3 * i + 2]
            for joint, _ in joints:
                if joint not in bench.joints:
                    bench.joints[joint] = self._at(bench, x, panel, joint)[0]
