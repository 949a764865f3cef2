"""Joints: where the middle lines of panels meet, with the covariance of all of them together.

A joint is the point nearest (weighted least squares) to the lines that run through it. If line p moves by
delta_p along its normal n_p, the joint moves by M^-1 w_p n_p delta_p with M = sum w n n^T. Everything
uncertain about a panel is such a movement, so one small matrix per joint carries all sources.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.linalg import block_diag

from capture.arrays import Array
from measure.geometry import Curve, crossing
from measure.layout import Layout, Role
from measure.reasons import Unseen, WhyUnseen


@dataclass(frozen=True, slots=True, kw_only=True)
class JointNumbers:
    """Tuned numbers, found on path-traced photographs of known dummies."""

    parallel_rad: float = float(np.deg2rad(12.0))
    """Pages of a spread that is nearly flat make less with each other: they do not place their joint."""
    straight_on_rad: float = float(np.deg2rad(4.0))
    """Nor do other panels below this; above it a joint so blunt is uncertain along them, and says so."""
    huber: float = 5.0
    """Of three or more lines one that misses by more standard deviations counts less (Huber's weights,
    iterated)."""
    miss_share: float = 0.5
    """So much of what one line misses the others by is doubt about the joint."""
    gap_mm: float = 2.0
    """A further panel that misses the crossing of the others by more than this does not run through
    it."""
    together: float = 0.8
    """One strip is cut in one go: the correlation of how far its two corners stand back."""


TUNED = JointNumbers()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PanelLine:
    """The line on which a panel's joints lie, and how well it is known.

    Attributes
    ----------
    name, role, joints : as in the layout.
    curve : the line (d0 = d1 = 0).
    fit_cov : (3, 3) covariance of its two end offsets and bow from edge noise, mm^2.
    layer_sd_mm : what the thickness of card and its layers may shift it.
    weight_sd_mm : its weight where more than two panels meet.
    joint_shift : joint -> displacement (2,) of the line for that joint alone.
    """

    name: str
    role: Role
    joints: tuple[str, ...]
    curve: Curve
    fit_cov: Array
    layer_sd_mm: float
    weight_sd_mm: float
    joint_shift: Mapping[str, Array] = field(default_factory=dict)

    def curve_at(self, joint: str) -> Curve:
        """Return the line as it counts for one joint."""
        if joint not in self.joint_shift:
            return self.curve
        move = self.joint_shift[joint]
        return replace(self.curve, a=self.curve.a + move, b=self.curve.b + move)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class FreeEnd:
    """The cut edge of a panel: its place along the panel's line (mm from curve.a) and its uncertainty."""

    joint: str
    panel: str
    along_mm: float
    err_mm: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class JointSet:
    """Joints found: names, positions (J, 2), and per source the covariance (2J, 2J).

    `near_end_gain` (2J, 2P) says how the joints seem displaced for every mm by which the first and the last
    corner of each panel's near end (P panels, in the order of `panels`) stands in front of the plane.
    """

    names: tuple[str, ...]
    xy_mm: Array
    cov_by_source: Mapping[str, Array]
    undetermined: Mapping[str, WhyUnseen]
    panels: tuple[str, ...] = ()
    near_end_gain: Array = field(default_factory=lambda: np.zeros((0, 0)))


@dataclass(slots=True, eq=False)
class _Pull:
    """How a joint (2,) moves when a panel's line moves along its normal at station s."""

    panel: int
    s: float
    gain: Array
    lever: float  # n . (X - eye): what a near end that stands 1 mm back would be displaced, times the range


def _near(curve: Curve, xy: Array) -> tuple[float, Array, Array]:
    """Station, foot point and normal of the curve nearest to a point."""
    t, n, length = curve.tangent, curve.normal, curve.length
    s = float((xy - curve.a) @ t / length)
    foot = curve.points(np.array([s]))[0]
    slope = 4 * curve.bow * (1 - 2 * s) / length
    normal = n - slope * t
    return s, foot, normal / np.hypot(*normal)


def meet(curves: Sequence[Curve], weights: Array, start: Array) -> Array:
    """Point (2,) nearest to all curves in the weighted least-squares sense (exact crossing for two)."""
    xy = start.copy()
    for _ in range(6):
        m, v = np.zeros((2, 2)), np.zeros(2)
        for curve, w in zip(curves, weights, strict=True):
            _, foot, n = _near(curve, xy)
            m += w * np.outer(n, n)
            v += w * n * float(n @ foot)
        xy = np.asarray(np.linalg.solve(m, v), dtype=np.float64)
    return xy


def _meet_robustly(curves: Sequence[Curve], weights: Array) -> tuple[Array, Array, float]:
    """Point (2,) where most curves meet, the weights used, and how far the worst misses it (0: none does).

    Of three or more curves one may be fitted wrong: beyond `TUNED.huber` sd it counts less (Huber's
    weights, iterated).
    """
    start = _start(curves)
    xy = meet(curves, weights, start)
    if len(curves) < 3:
        return xy, weights, 0.0
    used = weights
    misses = np.zeros(len(curves))
    for _ in range(12):
        misses = np.array([abs(float(n @ (foot - xy))) for _, foot, n in (_near(c, xy) for c in curves)])
        used = weights * np.minimum(1.0, TUNED.huber / np.maximum(misses * np.sqrt(weights), 1e-9)) ** 2
        xy = meet(curves, used, xy)
    worst = float(np.max(np.where(used < weights, misses, 0.0)))
    return xy, used, worst


def _through(lines: Sequence[PanelLine], joint: str) -> list[int]:
    return [k for k, line in enumerate(lines) if joint in line.joints]


def _independent(lines: Sequence[PanelLine], members: list[int], free: set[str], joint: str) -> bool:
    if joint in free or len(members) < 2:
        return False
    t = [lines[k].curve.tangent for k in members]
    cross = max(abs(float(a[0] * b[1] - a[1] * b[0])) for a in t for b in t)
    pages = all(lines[k].role is Role.PAGE for k in members)
    return bool(cross > np.sin(TUNED.parallel_rad if pages else TUNED.straight_on_rad))


def locate_joints(
    layout: Layout,
    lines: Sequence[PanelLine],
    ends: Sequence[FreeEnd],
    *,
    eye_mm: Array,
    standoff_mm: float,
    near_end_sd_mm: float,
    level_shifts: Sequence[Mapping[str, tuple[float, float]]] = (),
) -> JointSet:
    """Place every joint that the found panels determine, with covariance by source.

    Sources: "edge fits", "near ends" (panels that do not end exactly in the plane), "card layers", "page
    level".

    Parameters
    ----------
    level_shifts : what several lines share, one independent way after the other: line -> shift of its two
        ends, mm along its own normal, by one standard uncertainty.
    """
    free = {end.joint: end for end in ends}
    names: list[str] = []
    places: list[Array] = []
    pulls: list[list[_Pull]] = []
    along: list[tuple[int, Array, float, float]] = []  # joint, direction, sd, lever
    misses: list[tuple[int, float]] = []  # joint, what one of its lines misses the others by
    undetermined: dict[str, WhyUnseen] = {}
    for joint in layout.joint_names:
        members = _through(lines, joint)
        if joint in free and members:
            end = free[joint]
            k = next(i for i, line in enumerate(lines) if line.name == end.panel)
            curve = lines[k].curve
            xy = curve.points(np.array([end.along_mm / curve.length]))[0]
            s, _, n = _near(curve, xy)
            lever = float(curve.tangent @ (xy - eye_mm[:2]))
            along.append((len(names), curve.tangent, end.err_mm, lever))
            pulls.append([_Pull(k, s, n, float(n @ (xy - eye_mm[:2])))])
        elif _independent(lines, members, set(free), joint):
            members, passed_by = _consistent(lines, members)
            curves = [lines[k].curve_at(joint) for k in members]
            weights = np.array([lines[k].weight_sd_mm ** -2.0 for k in members])
            xy, weights, apart = _meet_robustly(curves, weights)
            near = [_near(c, xy) for c in curves]
            apart = max(apart, passed_by)
            if apart > 0:
                misses.append((len(names), apart))
            m = sum(
                (w * np.outer(n, n) for w, (_, _, n) in zip(weights, near, strict=True)), np.zeros((2, 2))
            )
            inv = np.linalg.inv(m)
            pulls.append(
                [
                    _Pull(k, s, inv @ (w * n), float(n @ (xy - eye_mm[:2])))
                    for k, w, (s, _, n) in zip(members, weights, near, strict=True)
                ]
            )
        else:
            undetermined[joint] = why_not(layout, {line.name for line in lines}, joint)
            continue
        names.append(joint)
        places.append(xy)
    distance = float(eye_mm[2] - standoff_mm)
    own = np.zeros((2 * len(names), 2 * len(names)))
    for j, apart in misses:
        own[2 * j : 2 * j + 2, 2 * j : 2 * j + 2] = np.eye(2) * (TUNED.miss_share * apart) ** 2
    gain = _near_end_gain(lines, pulls, along, distance)
    return JointSet(
        names=tuple(names),
        xy_mm=np.array(places).reshape(-1, 2),
        cov_by_source=_covariances(lines, pulls, along, gain, near_end_sd_mm, own, level_shifts),
        undetermined=undetermined,
        panels=tuple(line.name for line in lines),
        near_end_gain=gain,
    )


def _start(curves: Sequence[Curve]) -> Array:
    """Crossing of the two least parallel chords."""
    best, pair = -1.0, (0, 1)
    for i in range(len(curves)):
        for j in range(i):
            u, v = curves[i].tangent, curves[j].tangent
            cross = abs(float(u[0] * v[1] - u[1] * v[0]))
            if cross > best:
                best, pair = cross, (i, j)
    return crossing(curves[pair[0]], curves[pair[1]])


def _consistent(lines: Sequence[PanelLine], members: list[int]) -> tuple[list[int], float]:
    """Drop plane halves that do not run through the crossing of the folds (a crease glued off the ridge).

    Where both halves pass it by on the same side, one of the folds may be what was fitted wrong: by how much
    they pass it by is returned, too (mm, else 0).
    """
    firm = [k for k in members if lines[k].role is not Role.PLANE]
    if len(firm) < 2 or len(firm) == len(members):
        return members, 0.0
    curves = [lines[k].curve for k in firm]
    xy = meet(curves, np.ones(len(firm)), _start(curves))
    out = list(firm)
    gaps = []
    for k in members:
        if k not in firm:
            _, foot, _ = _near(lines[k].curve, xy)
            if np.hypot(*(foot - xy)) < TUNED.gap_mm:
                out.append(k)
            else:
                gaps.append(foot - xy)
    alike = len(gaps) > 1 and all(float(g @ gaps[0]) > 0 for g in gaps)
    return out, float(min(np.hypot(*g) for g in gaps)) if alike else 0.0


def why_not(layout: Layout, found: Collection[str], joint: str) -> WhyUnseen:
    """Say why a joint is not measured, by the panels that were found."""
    missing = [p.name for p in layout.panels if joint in p.joints and p.name not in found]
    if missing:
        return WhyUnseen(kind=Unseen.PANELS_MISSING, names=tuple(missing))
    pages = [p for p in layout.panels if joint in p.joints and p.role is Role.PAGE]
    if len(pages) == 2:
        return WhyUnseen(kind=Unseen.SPINE_UNMARKED)
    return WhyUnseen(kind=Unseen.NOT_LOOKED_FOR)


def _near_end_gain(
    lines: Sequence[PanelLine],
    pulls: list[list[_Pull]],
    along: list[tuple[int, Array, float, float]],
    distance_mm: float,
) -> Array:
    """How joints (2J) seem displaced per mm that the corners of near ends (2 a line) stand in front."""
    gain = np.zeros((2 * len(pulls), 2 * len(lines)))
    for j, joint_pulls in enumerate(pulls):
        for p in joint_pulls:
            forward = p.gain * (p.lever / distance_mm)
            gain[2 * j : 2 * j + 2, 2 * p.panel : 2 * p.panel + 2] += np.outer(forward, [1 - p.s, p.s])
    for j, direction, _, lever in along:
        k = pulls[j][0].panel
        gain[2 * j : 2 * j + 2, 2 * k + 1] += direction * lever / distance_mm
    return gain


def near_end_prior(n_panels: int, sd_mm: float) -> Array:
    """Covariance (2P, 2P) of how far the corners of near ends stand in front of the plane.

    One strip is cut in one go: its two corners stand back nearly alike.
    """
    corners = sd_mm**2 * np.array([[1, TUNED.together], [TUNED.together, 1]])
    return np.asarray(np.kron(np.eye(n_panels), corners), dtype=np.float64)


def _covariances(
    lines: Sequence[PanelLine],
    pulls: list[list[_Pull]],
    along: list[tuple[int, Array, float, float]],
    near_end_gain: Array,
    near_end_sd_mm: float,
    misses: Array,
    level_shifts: Sequence[Mapping[str, tuple[float, float]]],
) -> dict[str, Array]:
    n_joints = len(pulls)
    fit = np.zeros((2 * n_joints, 3 * len(lines)))
    layer = np.zeros((2 * n_joints, len(lines)))
    for j, joint_pulls in enumerate(pulls):
        rows = slice(2 * j, 2 * j + 2)
        for p in joint_pulls:
            s = p.s
            fit[rows, 3 * p.panel : 3 * p.panel + 3] += np.outer(p.gain, [1 - s, s, 4 * s * (1 - s)])
            layer[rows, p.panel] += p.gain
    # Of no blocks at all block_diag makes a row of nothing: a photo in which no panel is found has no lines.
    fit_cov = block_diag(*[line.fit_cov for line in lines]) if lines else np.zeros((0, 0))
    out_fit = fit @ fit_cov @ fit.T
    for j, direction, sd, _ in along:
        out_fit[2 * j : 2 * j + 2, 2 * j : 2 * j + 2] += sd**2 * np.outer(direction, direction)
    layer_sd = np.array([line.layer_sd_mm for line in lines])
    shifts = np.zeros((3 * len(lines), len(level_shifts)))
    for k, shift in enumerate(level_shifts):
        for i, line in enumerate(lines):
            shifts[3 * i : 3 * i + 2, k] = shift.get(line.name, (0.0, 0.0))
    levels = fit @ shifts
    return {
        "edge fits": out_fit + misses,
        "near ends": near_end_gain @ near_end_prior(len(lines), near_end_sd_mm) @ near_end_gain.T,
        "card layers": (layer * layer_sd**2) @ layer.T,
        "page level": levels @ levels.T,
    }
