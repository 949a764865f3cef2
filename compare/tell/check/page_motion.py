"""The dummy opening and closing: where its panels lie at every opening, as designed and as measured."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from capture.arrays import Array
from compare.tell.draw import svg
from compare.tell.draw.web_page import script_data
from compare.vocabulary import Kind, named, parsed

if TYPE_CHECKING:
    from compare.verdict.findings import Findings


STEPS: Final = 60  # openings between shut and open
SHUT_DEG: Final = 0.5  # the last one drawn: at 0 all lines fall together
STILLS: Final = (1.0, 0.5, 0.15)  # shares of the opening that are printed
MARGIN: Final = 12.0  # mm


@dataclass(frozen=True, slots=True, eq=False)
class Poses:
    """Panels at every opening.

    Attributes
    ----------
    panels : name -> (openings, joints on it, 2), mm, spine at the origin, y up; nan where it cannot be.
    lean_deg : half -> (openings,).
    """

    panels: dict[str, Array]
    lean_deg: dict[str, Array]


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """The motion of the design and of the dummy as measured.

    Attributes
    ----------
    openings_deg : (n,) from open to shut.
    design, built : the poses; `built` is frozen below `binds_deg`.
    page_mm : side -> width of the page.
    binds_deg : opening below which card is against card; 0 if it shuts.
    built_known : False if a length was missing, so that only the design can be shown.
    """

    openings_deg: Array
    design: Poses
    built: Poses | None
    page_mm: dict[str, float]
    binds_deg: float


def _poses(findings: "Findings", lengths: dict[str, float], openings: Array) -> Poses:
    """Solve the linkage at all openings."""
    mechanism = findings.spec.mechanism
    pose = mechanism.solve(lengths, openings)
    panels = {
        p.name: np.stack([np.broadcast_to(pose.joints[j], (len(openings), 2)) for j in p.joints], axis=1)
        for p in mechanism.panels
        if all(j in pose.joints for j in p.joints)
    }
    return Poses(panels, {k: np.degrees(v) for k, v in pose.lean.items()})


def _frozen(poses: Poses, alive: NDArray[np.bool_]) -> Poses:
    """Hold the last possible pose where the linkage cannot go on."""
    last = int(np.flatnonzero(alive)[-1]) if np.any(alive) else 0
    where = np.where(alive, np.arange(len(alive)), last)
    return Poses(
        {k: v[where] for k, v in poses.panels.items()}, {k: v[where] for k, v in poses.lean_deg.items()}
    )


def motion_of(findings: "Findings") -> Motion:
    """Return the motion from open to shut."""
    spec, measured = findings.spec, findings.measured
    start = max(float(np.degrees(measured.opening.value)), spec.base.opening_deg)
    openings = np.linspace(min(start, 180.0), SHUT_DEG, STEPS + 1)
    nominal = dict(spec.mechanism.lengths)
    values = {k: q.value for k, q in measured.working.items()}
    binds = findings.binding.phi_deg if findings.binding is not None else 0.0
    pages = {"left": spec.base.page_left, "right": spec.base.page_right}
    built = None
    needed = {k for h in spec.mechanism.halves for k in h.governs if k in spec.mechanism.ends}
    if needed <= set(values):
        built = _poses(findings, {**nominal, **values}, np.radians(openings))
        sound = np.array([np.all(np.isfinite(v), axis=(1, 2)) for v in built.panels.values()]).all(axis=0)
        built = _frozen(built, sound & (openings >= binds))
    return Motion(
        openings_deg=openings,
        design=_poses(findings, nominal, np.radians(openings)),
        built=built,
        page_mm={s: float(values.get(named(Kind.PAGE, s), pages[s])) for s in pages},
        binds_deg=binds,
    )


def _box(motion: Motion) -> tuple[float, float, float, float]:
    """Return the view box (x, y, width, height), mm, y down, that holds every pose."""
    stacks = [v for poses in (motion.design, motion.built) if poses for v in poses.panels.values()]
    points = np.concatenate([v.reshape(-1, 2) for v in stacks])
    points = points[np.all(np.isfinite(points), axis=1)]
    far = max(motion.page_mm.values())
    low = np.minimum(points.min(axis=0), (-far, 0.0)) - MARGIN
    high = np.maximum(points.max(axis=0), (far, far)) + MARGIN
    return float(low[0]), float(-high[1]), float(high[0] - low[0]), float(high[1] - low[1])


def _numbers(a: Array) -> list[Any]:
    """Return nested lists rounded to 0.1 mm (or degree), nan as null."""
    flat = [None if not np.isfinite(v) else round(float(v), 1) + 0.0 for v in a.ravel()]
    out: list[Any] = np.array(flat, dtype=object).reshape(a.shape).tolist()
    return out


def motion_json(motion: Motion) -> Markup:
    """Return the poses as JSON, safe inside a script element."""

    def told(poses: Poses | None) -> dict[str, Any] | None:
        if poses is None:
            return None
        return {
            "panels": {k: _numbers(v * (1.0, -1.0)) for k, v in poses.panels.items()},
            "lean": {k: _numbers(v) for k, v in poses.lean_deg.items()},
        }

    data = {
        "openings": _numbers(motion.openings_deg),
        "binds": round(motion.binds_deg, 1),
        "design": told(motion.design),
        "built": told(motion.built),
    }
    return script_data(data)


def _still(motion: Motion, i: int) -> Markup:
    """Return all lines of one pose."""
    parts: list[Markup] = []
    for kind, poses in (("design", motion.design), ("measured", motion.built)):
        if poses is None:
            continue
        for name, stack in poses.panels.items():
            points = stack[i][np.all(np.isfinite(stack[i]), axis=1)] * (1.0, -1.0)
            if len(points) < 2:
                continue
            page = parsed(name).is_page
            parts.append(svg.line(points, f"{kind}{' page' if page else ''}", name))
    return svg.together(parts)


def _arcs(motion: Motion) -> Markup:
    """Return the paths of the two fore edges."""
    parts = []
    for side, width in motion.page_mm.items():
        half = np.linspace(0, np.radians(motion.openings_deg[0] / 2), 40)
        sign = 1.0 if side == "right" else -1.0
        arc = width * np.column_stack([sign * np.sin(half), -np.cos(half)])
        parts.append(svg.line(arc, "arc", f"path of the {side} fore edge"))
    return svg.together(parts)


@dataclass(frozen=True, slots=True)
class MotionFigure:
    """What the template needs: the drawing at open, stills for print, the data for the slider."""

    view_box: str
    arcs: Markup
    first: Markup
    stills: tuple[tuple[str, Markup], ...]
    data: Markup
    last: int


def motion_figure(motion: Motion) -> MotionFigure:
    """Draw the motion."""
    top = len(motion.openings_deg) - 1
    at = [round((1 - share) * top) for share in STILLS]
    return MotionFigure(
        view_box=" ".join(svg.num(v) for v in _box(motion)),
        arcs=_arcs(motion),
        first=_still(motion, 0),
        stills=tuple((f"{motion.openings_deg[i]:.0f}°", _still(motion, i)) for i in at),
        data=motion_json(motion),
        last=top,
    )
