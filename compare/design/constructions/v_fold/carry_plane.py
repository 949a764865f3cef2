"""Where a V-fold, the plane it carries and legs that copy its panels stand in space.

In space: x to the right page, y up along the bisector, z along the spine towards the camera, 0 at the near
end. The plane's crease keeps the angle `plane angle` to each of the V-fold's upper edges. Drawn like the glue
lines (the plain case) the plane stays parallel to the pages and only travels; a leg must then be a copy of
the V-fold's panel, moved across.
"""

from dataclasses import dataclass
from typing import ClassVar, Final

import numpy as np

from capture.arrays import Array
from compare.design.linkage.pose import turn_of
from compare.design.linkage.spherical import angle_beside, far_corner, panel_angles
from compare.design.linkage.steps import Bench, Cost
from compare.vocabulary import Kind, named
from measure.sides import SIDES

ROUNDS: Final = 40
SETTLED: Final = 1e-9  # rad
DAMPING: Final = 1e-9


def space(x: Array, y: Array, z: Array) -> Array:
    """Return points or directions (..., 3)."""
    return np.stack(np.broadcast_arrays(x, y, z), axis=-1)


def _dot(a: Array, b: Array) -> Array:
    out: Array = np.sum(a * b, axis=-1)
    return out


def glue_frame(half: Array, sign: float, beta: Array) -> tuple[Array, Array, Array, Array]:
    """Directions (..., 3) of one page: outwards, glue line, across it on the page, and off the page inwards.

    half : half the opening, rad; sign : +1 right; beta : angle of the glue line to the spine, rad.
    """
    zero = np.zeros_like(half + beta)
    out = space(sign * np.sin(half), np.cos(half), zero)
    off = space(-sign * np.cos(half), np.sin(half), zero)
    along = space(zero, zero, zero + 1.0)
    s, c = np.sin(beta)[..., None], np.cos(beta)[..., None]
    return out, s * out + c * along, c * out - s * along, off


def crease_of(half: Array, beta: dict[str, Array], alpha: dict[str, Array]) -> tuple[Array, dict[str, Array]]:
    """Direction (..., 3) of the crease, and angle of each panel to its page, rad."""
    chi_r, chi_l = panel_angles(beta["right"], beta["left"], alpha["right"], alpha["left"], 2 * half)
    _, glue, across, off = glue_frame(half, 1.0, beta["right"])
    a, chi = alpha["right"][..., None], chi_r[..., None]
    crease = np.cos(a) * glue + np.sin(a) * (np.cos(chi) * across + np.sin(chi) * off)
    return crease, {"right": chi_r, "left": chi_l}


@dataclass(frozen=True, slots=True, kw_only=True)
class CarryPlane:
    """Lays a V-fold and the plane on it.

    near : V point to near end; ridge : tip of the V-fold to the near end of the plane's crease.
    """

    cost: ClassVar[Cost] = Cost.SLOW

    near: float
    ridge: float
    widths: dict[str, float]
    legs: tuple[str, ...]

    def _crease_of_plane(self, bench: Bench, half: Array, beta: dict[str, Array]) -> Array:
        """Direction of the plane's crease from the angles drawn on it, legs apart; nan if impossible."""
        n = bench.lengths
        p, q = (np.radians(n[named(Kind.PLANE_ANGLE, s)]) for s in ("right", "left"))
        b, o = beta["right"], beta["left"]
        apex = far_corner(b, o, p, q, 2 * half)
        turn = angle_beside(b, o, 2 * half) - angle_beside(p, q, apex)
        turn, p = turn[..., None], (p + np.zeros_like(half))[..., None]
        _, glue, across, off = glue_frame(half, 1.0, b)
        out: Array = np.cos(p) * glue + np.sin(p) * (-np.cos(turn) * across + np.sin(turn) * off)
        return out

    def _leg_gaps(self, bench: Bench, m: Array, parts: dict[str, tuple[Array, ...]]) -> list[Array]:
        """By how much each leg is too short for this crease of the plane, mm."""
        return [_leg(bench, s, m, parts[s])[1] for s in self.legs]

    def _settle(self, bench: Bench, m: Array, parts: dict[str, tuple[Array, ...]]) -> Array:
        """Let the plane give way between glue lines and legs, all equally stiff: least squares.

        There is no formula: Levenberg's method on the two angles of the crease, from the crease without
        legs. Where nothing is strained (a design without errors) it stops at once.
        """
        n = bench.lengths
        aim = {s: np.radians(n[named(Kind.PLANE_ANGLE, s)]) for s in SIDES}
        start = np.where(np.isfinite(m[..., :1]), m, np.array([0.0, 0.0, 1.0]))
        t = np.stack((start[..., 0], start[..., 1]), axis=-1)

        def crease(t: Array) -> Array:
            return space(t[..., 0], t[..., 1], np.sqrt(np.maximum(1.0 - np.sum(t * t, axis=-1), 0.0)))

        def strain(t: Array) -> Array:
            c = crease(t)
            out = [self.widths[s] * (np.arccos(np.clip(_dot(c, parts[s][1]), -1, 1)) - aim[s]) for s in SIDES]
            return np.stack(np.broadcast_arrays(*out, *self._leg_gaps(bench, c, parts)), axis=-1)

        h, damping = 1e-6, np.full(t.shape[:-1], DAMPING)
        r = strain(t)
        for _ in range(ROUNDS):
            if not np.any(np.abs(r) > 1e-9):
                break
            j = np.stack([(strain(t + h * e) - strain(t - h * e)) / (2 * h) for e in np.eye(2)], axis=-1)
            square = np.swapaxes(j, -1, -2) @ j
            scale = np.trace(square, axis1=-2, axis2=-1)[..., None, None] * np.eye(2)
            with np.errstate(invalid="ignore"):
                bad = np.asarray(~np.isfinite(square).all(axis=(-2, -1)))
            square = np.where(
                bad[..., None, None], np.eye(2), square + damping[..., None, None] * scale + 1e-12 * np.eye(2)
            )
            pull = np.where(bad[..., None], 0.0, _dot_rows(j, r))
            step = np.linalg.solve(square, pull[..., None])[..., 0]
            tried = t - step
            r_tried = strain(tried)
            better = np.sum(r_tried**2, axis=-1) < np.sum(r**2, axis=-1)
            t = np.where(better[..., None], tried, t)
            damping = np.where(better, damping / 10, np.maximum(damping, 1e-8) * 10)
            done = np.abs(step).max(axis=-1) < SETTLED
            r = np.where(better[..., None], r_tried, r)
            if np.all(done | (damping > 1e3)):
                break
        return crease(t)

    def run(self, bench: Bench) -> None:
        """Lay the V-fold, the plane and the legs in space; joints are what is seen end-on."""
        n = bench.lengths
        shape = np.broadcast_shapes(bench.phi.shape, *(v.shape for v in n.values()))
        half = np.broadcast_to(bench.phi / 2, shape)
        beta = {s: np.radians(n[named(Kind.GLUE_ANGLE, s)]) + np.zeros(shape) for s in SIDES}
        alpha = {s: np.radians(n[named(Kind.VFOLD_ANGLE, s)]) + np.zeros(shape) for s in SIDES}
        k, _ = crease_of(half, beta, alpha)
        point = np.array([0.0, 0.0, -self.near])
        tip = point + n["crease"][..., None] * k
        parts: dict[str, tuple[Array, ...]] = {}
        for side, sign in (("left", -1.0), ("right", 1.0)):
            out, glue, _, _ = glue_frame(half, sign, beta[side])
            parts[side] = (out, glue, tip, point + np.zeros_like(tip))
        m = self._crease_of_plane(bench, half, beta)
        if self.legs:
            m = np.where(np.isfinite(tip[..., :1]), self._settle(bench, m, parts), np.nan)
        points = {"spine": np.zeros((*shape, 3)), "ridge": tip + self.ridge * m}
        bench.points.update({"vfold point": point + np.zeros_like(tip), "vfold tip": tip})
        for side in SIDES:
            out, glue, _, _ = parts[side]
            foot = point + n[named(Kind.WIDTH, side)][..., None] * glue
            points[named(Kind.VFOLD_FOOT, side)] = foot
            points[named(Kind.VFOLD_TOP, side)] = foot + n["crease"][..., None] * k
            points[named(Kind.FORE_EDGE, side)] = n[named(Kind.PAGE, side)][..., None] * out
            across = _across(glue, m)
            points[named(Kind.PLANE_EDGE, side)] = (
                points["ridge"] + n[named(Kind.PLANE, side)][..., None] * across
            )
            bench.turns[named(Kind.PLANE, side)] = turn_of(across[..., :2])
            bench.turns[named(Kind.VFOLD, side)] = turn_of(k[..., :2])
            if side in self.legs:
                edge, gap = _leg(bench, side, m, parts[side])
                outer = foot + n[named(Kind.PAGE_SPACING, side)][..., None] * out
                points[named(Kind.OUTER_FOOT, side)], points[named(Kind.LEG_TOP, side)] = outer, outer + edge
                bench.turns[named(Kind.LEG, side)] = turn_of(edge[..., :2])
                bench.stretch[named(Kind.LEG, side)] = gap
        bench.points.update(points)
        bench.joints.update({name: p[..., :2] for name, p in points.items()})
        bench.nod = np.arctan2(m[..., 1], m[..., 2])


def _dot_rows(j: Array, r: Array) -> Array:
    out: Array = np.sum(j * r[..., None], axis=-2)
    return out


def _across(glue: Array, m: Array) -> Array:
    """Direction on the plane square to its crease, outwards on the side of a glue line."""
    way = glue - _dot(glue, m)[..., None] * m
    out: Array = way / np.sqrt(_dot(way, way))[..., None]
    return out


def _leg(bench: Bench, side: str, m: Array, part: tuple[Array, ...]) -> tuple[Array, Array]:
    """Near edge (..., 3) of a leg from foot to top, and by how much it is too short, mm.

    Seen along the glue line the leg is a side of a parallelogram: page, V-fold, plane, leg.
    """
    n = bench.lengths
    out, glue, tip, point = part
    alpha = np.radians(n[named(Kind.VFOLD_ANGLE, side)])
    leg = n[named(Kind.LEG, side)]
    top = tip + n[named(Kind.PLANE_SPACING, side)][..., None] * _across(glue, m)
    way = top - point - n[named(Kind.PAGE_SPACING, side)][..., None] * out
    way = way - _dot(way, glue)[..., None] * glue
    size = np.sqrt(_dot(way, way))
    edge = leg[..., None] * (np.cos(alpha)[..., None] * glue + (np.sin(alpha) / size)[..., None] * way)
    return edge, size - leg * np.sin(alpha)
