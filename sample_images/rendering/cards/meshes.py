"""Solids for the renderer: strips of card with thickness, sheets of paper with a cut-out, boxes.

A mesh is (vertices (N, 3), triangles (M, 3), texture coordinates (N, 2)); mm. Strips are extruded along z.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """Triangles with texture coordinates."""

    xyz: Array
    tri: NDArray[np.int32]
    uv: Array

    def moved(self, rot: Array, shift: Array) -> "Mesh":
        """Return the mesh with every point x at rot @ x + shift."""
        return Mesh(self.xyz @ rot.T + shift, self.tri, self.uv)


def join(meshes: Sequence[Mesh]) -> Mesh:
    """One mesh out of many."""
    start = np.cumsum([0] + [len(m.xyz) for m in meshes[:-1]])
    return Mesh(
        np.concatenate([m.xyz for m in meshes]),
        np.concatenate([m.tri + s for m, s in zip(meshes, start, strict=True)]).astype(np.int32),
        np.concatenate([m.uv for m in meshes]),
    )


def quads(corners: Array, uv: Array) -> Mesh:
    """Mesh of separate quadrilaterals: corners (Q, 4, 3) in order round each, uv (Q, 4, 2)."""
    n = len(corners)
    base = 4 * np.arange(n)[:, None]
    tri = np.concatenate([base + [0, 1, 2], base + [0, 2, 3]]).astype(np.int32)
    return Mesh(corners.reshape(-1, 3), tri, uv.reshape(-1, 2))


def resample(line: Array, step: float) -> Array:
    """Polyline (N, 2) with extra points so that no piece is longer than `step`."""
    out = [line[:1]]
    for a, b in zip(line[:-1], line[1:], strict=True):
        n = max(1, math.ceil(math.hypot(*(b - a)) / step))
        out.append(a + (b - a) * (np.arange(1, n + 1) / n)[:, None])
    return np.concatenate(out)


def cross_sections(line: Array, thick: float) -> tuple[Array, Array, Array]:
    """Left and right rim (K, 2) of a strip whose middle line is `line`, and the arc length (K,).

    The middle line keeps its corners: a crease is mitred inside and rounded with half a thickness
    outside, which is what the joint convention (middle surfaces meet in the joint) asks for.
    """
    d = np.diff(line, axis=0)
    seg = np.hypot(d[:, 0], d[:, 1])
    u = d / seg[:, None]
    n = np.column_stack([-u[:, 1], u[:, 0]])
    s = np.concatenate([[0.0], np.cumsum(seg)])
    r = thick / 2
    left, right, at = [line[0] + r * n[0]], [line[0] - r * n[0]], [0.0]
    for i in range(1, len(line) - 1):
        turn = math.atan2(u[i - 1, 0] * u[i, 1] - u[i - 1, 1] * u[i, 0], float(u[i - 1] @ u[i]))
        if abs(turn) < 1e-9:
            left.append(line[i] + r * n[i])
            right.append(line[i] - r * n[i])
            at.append(s[i])
            continue
        side = 1.0 if turn > 0 else -1.0  # inside of the bend: left if turning left
        half = n[i - 1] + n[i]
        # the mitre of a sharp fold is kept inside the two neighbouring pieces
        reach = min(r / math.cos(turn / 2), 0.9 * min(seg[i - 1], seg[i]))
        inside = line[i] + side * reach * half / math.hypot(*half)
        for k in np.linspace(0.0, 1.0, max(2, math.ceil(abs(turn) / 0.35) + 1)):
            a = k * turn
            c, q = math.cos(a), math.sin(a)
            m = np.array([c * n[i - 1, 0] - q * n[i - 1, 1], q * n[i - 1, 0] + c * n[i - 1, 1]])
            outside = line[i] - side * r * m
            left.append(inside if side > 0 else outside)
            right.append(outside if side > 0 else inside)
            at.append(s[i])
    left.append(line[-1] + r * n[-1])
    right.append(line[-1] - r * n[-1])
    at.append(s[-1])
    return np.array(left), np.array(right), np.array(at)


def strip(
    line: Array, thick: float, near: Callable[[Array], Array], far: Callable[[Array], Array]
) -> tuple[Mesh, Mesh]:
    """Faces and cut edges of a strip of card extruded along z.

    Parameters
    ----------
    line : (N, 2) middle line, with its creases.
    thick : card thickness.
    near, far : z of the two ends as functions of the arc length (K,) along the line.
    """
    left, right, s = cross_sections(resample(line, 2.0), thick)
    zn, zf = near(s), far(s)

    def at(rim: Array, z: Array) -> Array:
        return np.column_stack([rim, z])

    ln, lf, rn, rf = at(left, zn), at(left, zf), at(right, zn), at(right, zf)

    def ladder(a: Array, b: Array) -> Array:
        return np.stack([a[:-1], a[1:], b[1:], b[:-1]], axis=1)

    def paper_uv(a: Array, b: Array) -> Array:
        ta, tb = np.column_stack([s, a[:, 2]]), np.column_stack([s, b[:, 2]])
        return ladder(ta, tb) / 100.0

    faces = join([quads(ladder(ln, lf), paper_uv(ln, lf)), quads(ladder(rn, rf), paper_uv(rn, rf))])
    ends = np.stack([[ln[0], lf[0], rf[0], rn[0]], [ln[-1], lf[-1], rf[-1], rn[-1]]])
    cuts = join(
        [
            quads(ladder(ln, rn), paper_uv(ln, rn)),
            quads(ladder(lf, rf), paper_uv(lf, rf)),
            quads(ends, np.zeros((2, 4, 2))),
        ]
    )
    return faces, cuts


def paper(
    outline: Array,
    thick: float,
    front_uv: Callable[[Array], Array],
    bend: Callable[[Array], Array],
    step: float = 6.0,
) -> tuple[Mesh, Mesh]:
    """Front of an upright sheet of paper, and its back with the cut rim.

    Parameters
    ----------
    outline : (N, 2) closed outline of straight pieces along x or y (first point not repeated).
    thick : paper thickness; the front lies in z = 0 (before bending), the back behind it.
    front_uv : texture coordinates (K, 2) of points (K, 2) of the front.
    bend : z (K,) added at points (K, 2).
    """
    xs, ys = (_stations(np.unique(outline[:, k]), step) for k in (0, 1))
    ring = outline.astype(np.float32).reshape(-1, 1, 2)
    cells = []
    for x0, x1 in zip(xs[:-1], xs[1:], strict=True):
        for y0, y1 in zip(ys[:-1], ys[1:], strict=True):
            if cv2.pointPolygonTest(ring, (float(x0 + x1) / 2, float(y0 + y1) / 2), False) > 0:
                cells.append([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    flat = np.array(cells)
    z = bend(flat.reshape(-1, 2)).reshape(flat.shape[:2])
    front = np.dstack([flat, z[..., None]]) if flat.ndim == 2 else np.concatenate([flat, z[..., None]], 2)
    back = front - [0, 0, thick]
    closed = resample(np.vstack([outline, outline[:1]]), step)
    zr = bend(closed)
    rim_f = np.column_stack([closed, zr])
    rim_b = rim_f - [0, 0, thick]
    rim = np.stack([rim_f[:-1], rim_f[1:], rim_b[1:], rim_b[:-1]], axis=1)
    rest = np.concatenate([back, rim])
    return (
        quads(front, front_uv(flat.reshape(-1, 2)).reshape(*flat.shape[:2], 2)),
        quads(rest, np.zeros((len(rest), 4, 2))),
    )


def _stations(edges: Array, step: float) -> Array:
    return resample(np.column_stack([edges, np.zeros(len(edges))]), step)[:, 0]


def box(low: Array, high: Array, uv_mm: float = 100.0) -> Mesh:
    """Axis-parallel box between two corners."""
    lo, hi = np.asarray(low, float), np.asarray(high, float)
    out, uvs = [], []
    for axis in range(3):
        a, b = (axis + 1) % 3, (axis + 2) % 3
        for side in (lo[axis], hi[axis]):
            q = np.zeros((4, 3))
            q[:, axis] = side
            q[:, a] = [lo[a], hi[a], hi[a], lo[a]]
            q[:, b] = [lo[b], lo[b], hi[b], hi[b]]
            out.append(q)
            uvs.append(q[:, [a, b]] / uv_mm)
    return quads(np.array(out), np.array(uvs))


def prism(outline: Array, z0: float, z1: float) -> Mesh:
    """Convex outline (N, 2) extruded from z0 to z1."""
    nxt = np.roll(outline, -1, axis=0)
    n = len(outline)
    wall = np.stack(
        [
            np.column_stack([outline, np.full(n, z0)]),
            np.column_stack([nxt, np.full(n, z0)]),
            np.column_stack([nxt, np.full(n, z1)]),
            np.column_stack([outline, np.full(n, z1)]),
        ],
        axis=1,
    )
    centre = outline.mean(axis=0)
    caps = [
        np.stack([[*a, z], [*b, z], [*centre, z], [*centre, z]])
        for z in (z0, z1)
        for a, b in zip(outline, nxt, strict=True)
    ]
    every = np.concatenate([wall, np.array(caps)])
    return quads(every, every[:, :, :2] / 100.0)


def write_ply(path: Path, mesh: Mesh) -> None:
    """Write a mesh as binary PLY with texture coordinates."""
    head = (
        "ply\nformat binary_little_endian 1.0\n"
        f"element vertex {len(mesh.xyz)}\nproperty float x\nproperty float y\nproperty float z\n"
        "property float u\nproperty float v\n"
        f"element face {len(mesh.tri)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    face = np.zeros(len(mesh.tri), dtype=[("n", "u1"), ("i", "<i4", 3)])
    face["n"], face["i"] = 3, mesh.tri
    vertex = np.column_stack([mesh.xyz, mesh.uv]).astype("<f4")
    path.write_bytes(head.encode() + vertex.tobytes() + face.tobytes())
