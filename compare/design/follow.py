"""Panels of a drawn linkage that no pair of circles lays: followed from the drawing by Newton's method."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from compare.design.pose import Array, heading
from compare.design.steps import Bench, Step, Terms

STEP_RAD: Final = np.radians(3.0)  # of the opening, when iterating from the drawing
ROUNDS: Final = 12
CLOSED_MM: Final = 1e-8


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Follow:
    """Panels that cannot be laid two by two: Newton's method, followed from the drawing in small steps.

    panels : name -> its joints and the terms of their distances from the first.
    drawn_turns, drawn_joints : the drawing; drawn_phi : its opening; nominal : its lengths.
    """

    panels: Mapping[str, tuple[tuple[str, Terms], ...]]
    known: tuple[tuple[str, str, Terms], ...]  # (joint, known panel, distance from its first joint): context
    drawn_turns: Mapping[str, float]
    drawn_joints: Mapping[str, tuple[float, float]]
    drawn_phi: float
    nominal: Mapping[str, float]
    before: tuple[Step, ...]

    def _ties(self) -> list[tuple[str, str, str | None]]:
        """Return (joint, panel, second panel or None for a joint already known)."""
        seen: dict[str, str] = {}
        out: list[tuple[str, str, str | None]] = []
        fixed = {j for j, _, _ in self.known}
        for panel, joints in self.panels.items():
            for joint, _ in joints:
                if joint in fixed:
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

    def run(self, bench: Bench) -> None:
        """Lay the panels; nan where they cannot follow."""
        shape = np.broadcast_shapes(bench.phi.shape, *(v.shape for v in bench.lengths.values()))
        x = np.broadcast_to(self.start(), (*shape, len(self.start()))).copy()
        farthest = float(np.max(np.abs(bench.phi - self.drawn_phi), initial=0.0))
        count = max(int(np.ceil(farthest / STEP_RAD)), 1)
        gaps = np.zeros(())
        for k in range(1, count + 1):
            share = k / count
            lengths = {
                name: self.nominal[name] + (v - self.nominal[name]) * share
                for name, v in bench.lengths.items()
            }
            now = self._bench(lengths, self.drawn_phi + (bench.phi - self.drawn_phi) * share)
            for _ in range(ROUNDS):
                gaps, rows = self._equations(now, x)
                square = np.swapaxes(rows, -1, -2) @ rows + 1e-12 * np.eye(rows.shape[-1])
                step = np.linalg.solve(square, np.swapaxes(rows, -1, -2) @ gaps[..., None])[..., 0]
                x = x - step
                if not np.any(np.abs(step) > 1e-11):
                    break
        good = np.max(np.abs(gaps), axis=-1) < CLOSED_MM
        x = np.where(good[..., None], x, np.nan)
        for i, (panel, joints) in enumerate(self.panels.items()):
            bench.turns[panel] = x[..., 3 * i + 2]
            for joint, _ in joints:
                if joint not in bench.joints:
                    bench.joints[joint] = self._at(bench, x, panel, joint)[0]
