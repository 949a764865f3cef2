"""What is uncertain about the joints of an inked dummy, source by source.

Every joint is a function of the lines measured, of thicknesses, of what was assumed about depths, and of the
camera. Its derivatives are taken by differences of the whole computation, depths solved anew each time; so
what a tab's error does to a depth, and the depth to a leg, is in it.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from capture.arrays import Array
from capture.camera.view import PARAMS, View
from measure.geometry import Curve
from measure.inked.ink_lines import InkLines, Located, locate
from measure.inked.ink_pages import KnownPages
from measure.inked.measure_ink import InkMeasured
from measure.inked.near_end_depths import Depths, solve_depths
from measure.inked.near_end_plane import PageSurface
from measure.page_marks import SPINE_MARK
from measure.part_names import part_name
from measure.sides import SIDES


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetNumbers:
    """Standard uncertainties that no fit shows; found on path-traced photographs of inked dummies."""

    lock_mm: float = 0.012
    """A line as a whole: ink a little wider on one side, a shadow along it ..."""
    lock_px: float = 0.1
    """... or so many pixels, if that is more."""
    slant_mm: float = 0.01
    """... and each of its ends by itself; ..."""
    unseen_slant_mm: float = 0.12
    """... more, by this times the share of its stations that show nothing beyond ..."""
    usual_unseen: float = 0.25
    """... this: the fit goes on there over what it does not see."""
    bow_mm: float = 0.02
    """A panel is no exact parabola, where its fit goes on beyond what is seen."""
    one_sided_tab_mm: float = 0.03
    """A tab of which only the upper edge is seen."""
    layer_mm: float = 0.025
    """Between the plane's lower face and the card under it at a leg."""
    plane_seen_mm: float = 0.02
    plane_told_mm: float = 0.06
    """The plane's thickness, seen or taken from the design."""


TUNED = BudgetNumbers()


def solved(lines: InkLines, tab_sd_mm: Mapping[str, float]) -> tuple[Located, Depths]:
    """Solve the depths and place the joints."""
    depths = solve_depths(lines, tab_sd_mm)
    return locate(lines, depths.plane(), depths.own(), depths.heights()), depths


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Nudge:
    """A number that is uncertain: what it belongs to, by how much it is moved, and how."""

    source: str
    sd: float
    move: Callable[[InkLines, float], InkLines]


def covariances(
    ink: InkMeasured, lines: InkLines, pages: KnownPages, view: View, tab_sd_mm: Mapping[str, float]
) -> tuple[dict[str, Array], Array, tuple[str, ...]]:
    """Covariance of the joints (2 J, 2 J) by source; how they move with near ends, and the panels of that.

    Returns
    -------
    source -> covariance; (2 J, 2 P) movement of the joints per mm that a panel's first and last corner stands
    before where it was solved to be; the P panels.
    """
    located, depths = solved(lines, tab_sd_mm)
    names = located.names

    def places(moved: InkLines) -> Array:
        return _as(names, solved(moved, tab_sd_mm)[0])

    out: dict[str, Array] = {}
    by_line = [*_strip_moves(ink, lines, view), *_other_moves(ink, lines, tab_sd_mm)]
    for nudge in by_line:
        step = max(0.3 * nudge.sd, 1e-4)
        slope = (places(nudge.move(lines, step)) - places(nudge.move(lines, -step))) / (2 * step)
        out[nudge.source] = out.get(nudge.source, 0.0) + np.outer(slope, slope) * nudge.sd**2
    out["near ends"] = _of_depths(lines, depths, names)
    out |= _of_view(lines, pages, view, places)
    if pages.spine_mm is not None and "spine" in names:
        out[SPINE_MARK] = _of_spine(located, pages.spine_sd_mm)
    gain, panels = _near_end_gain(lines, depths, names)
    return {source: (cov + cov.T) / 2 for source, cov in out.items()}, gain, panels


def _as(names: tuple[str, ...], located: Located) -> Array:
    """Places (2 J,) of these joints."""
    index = [located.names.index(name) for name in names]
    out: Array = located.xy_mm[index].ravel()
    return out


def _bent(curve: Curve, d0: float, d1: float, bow: float) -> Curve:
    return replace(curve, d0=d0, d1=d1, bow=curve.bow + bow).straightened()


def _strip_moves(ink: InkMeasured, lines: InkLines, view: View) -> list[_Nudge]:
    """Return moves of ends and bows of strips and planes' edges, along the axes of their covariance."""
    out: list[_Nudge] = []
    for name, fit in [*ink.strips.items(), *ink.edges.items()]:
        scale = view.px_per_mm(fit.curve.a, lines.z_mm)
        lock = max(TUNED.lock_mm, TUNED.lock_px / scale)
        if name in ink.strips:
            lock = float(np.hypot(lock, 0.5 * ink.strips[name].one_sided * ink.width_sd_mm))
        unseen = max(0.0, 1.0 - fit.n_used / fit.n_stations - TUNED.usual_unseen)
        slant = float(np.hypot(TUNED.slant_mm, TUNED.unseen_slant_mm * unseen))
        cov = fit.cov + np.diag([slant**2, slant**2, TUNED.bow_mm**2])
        cov[:2, :2] += lock**2
        size, axes = np.linalg.eigh(cov)
        for var, axis in zip(size, axes.T, strict=True):
            out.append(
                _Nudge(
                    source="edge fits",
                    sd=float(np.sqrt(max(var, 0.0))),
                    move=_line_mover(name, axis, edge=name in ink.edges),
                )
            )
    return out


def _line_mover(name: str, axis: Array, *, edge: bool) -> Callable[[InkLines, float], InkLines]:
    def move(lines: InkLines, step: float) -> InkLines:
        which = lines.edges if edge else lines.strips
        moved = {**which, name: _bent(which[name], *(step * axis))}
        return replace(lines, edges=moved) if edge else replace(lines, strips=moved)

    return move


def _other_moves(ink: InkMeasured, lines: InkLines, tab_sd_mm: Mapping[str, float]) -> list[_Nudge]:
    out: list[_Nudge] = []
    for foot in lines.tabs:
        sd = float(np.hypot(tab_sd_mm[foot], TUNED.one_sided_tab_mm * (1 - ink.tabs[foot].two_sided)))
        out.append(_Nudge(source="edge fits", sd=sd, move=_tab_mover(foot)))
    for name, end in ink.ends.items():
        out.append(_Nudge(source="edge fits", sd=end.sd_mm, move=_end_mover(name)))
    for name in lines.edges:
        out.append(_Nudge(source="card layers", sd=TUNED.layer_mm, move=_hinge_mover(name)))
    out.append(_Nudge(source="card layers", sd=ink.width_sd_mm, move=_card_mover))
    sd = TUNED.plane_seen_mm if ink.plane_seen else TUNED.plane_told_mm
    out.append(_Nudge(source="card layers", sd=sd, move=_plane_mover))
    return out


def _tab_mover(foot: str) -> Callable[[InkLines, float], InkLines]:
    def move(lines: InkLines, step: float) -> InkLines:
        return replace(lines, tabs={**lines.tabs, foot: _bent(lines.tabs[foot], step, step, 0.0)})

    return move


def _end_mover(name: str) -> Callable[[InkLines, float], InkLines]:
    def move(lines: InkLines, step: float) -> InkLines:
        return replace(lines, ends={**lines.ends, name: lines.ends[name] + step})

    return move


def _hinge_mover(name: str) -> Callable[[InkLines, float], InkLines]:
    def move(lines: InkLines, step: float) -> InkLines:
        return replace(lines, edges={**lines.edges, name: _bent(lines.edges[name], step, step, 0.0)})

    return move


def _card_mover(lines: InkLines, step: float) -> InkLines:
    return replace(lines, card_mm=lines.card_mm + step)


def _plane_mover(lines: InkLines, step: float) -> InkLines:
    return replace(lines, plane_mm=lines.plane_mm + step)


def _of_depths(lines: InkLines, depths: Depths, names: tuple[str, ...]) -> Array:
    """Covariance of the joints from what was assumed about the depths."""
    slopes = []
    for k in range(len(depths.unknowns)):
        step = np.zeros(len(depths.unknowns))
        step[k] = 1e-4 if k in (1, 2) else 0.01
        there, back = (
            _as(names, locate(lines, depths.plane(u), depths.own(u), depths.heights(u)))
            for u in (depths.unknowns + step, depths.unknowns - step)
        )
        slopes.append((there - back) / (2 * step[k]))
    by_unknown = np.array(slopes).T
    out: Array = by_unknown @ depths.rest @ by_unknown.T
    return out


def _near_end_gain(lines: InkLines, depths: Depths, names: tuple[str, ...]) -> tuple[Array, tuple[str, ...]]:
    own = depths.own()
    gains = []
    for panel in own:
        there, back = (
            _as(names, locate(lines, depths.plane(), {**own, panel: own[panel] + d}, depths.heights()))
            for d in (0.05, -0.05)
        )
        # What stands before where it was taken to be was carried too little: it seems displaced away.
        slope = -(there - back) / 0.1
        gains += [slope / 2, slope / 2]
    return np.array(gains).T.reshape(2 * len(names), 2 * len(own)), tuple(own)


def _of_view(
    lines: InkLines, pages: KnownPages, view: View, places: Callable[[InkLines], Array]
) -> dict[str, Array]:
    """Covariance from the camera: the pixels stay, and everything is computed again with another camera.

    What goes with the print's scale is told apart by regression, as in `measure.joints.shared_errors`.
    """
    sd = np.sqrt(np.maximum(np.diag(view.cov), 0.0))
    jac = np.zeros((len(places(lines)), len(sd)))
    for k in np.flatnonzero(sd > 0):
        step = np.zeros(len(sd))
        step[k] = 0.2 * sd[k]
        there, back = (places(_seen_by(lines, pages, view, d)) for d in (step, -step))
        jac[:, k] = (there - back) / (2 * step[k])
    scales = [PARAMS.index("log_sx"), PARAMS.index("log_sy")]
    with_scale = jac @ view.cov[:, scales]
    scale = with_scale @ np.linalg.pinv(view.cov[np.ix_(scales, scales)]) @ with_scale.T
    return {"print scale": scale, "view": jac @ view.cov @ jac.T - scale}


def _seen_by(lines: InkLines, pages: KnownPages, view: View, step: Array) -> InkLines:
    """Return the lines that the same pixels make with the view's parameters moved by a step (16,)."""
    params = view.params + step

    def moved(curve: Curve) -> Curve:
        xyz = np.column_stack([np.stack([curve.a, curve.b]), np.full(2, lines.z_mm)])
        a, b = view.to_plane(view.project(xyz), lines.z_mm, params)
        return Curve(a=a, b=b, bow=curve.bow)

    surfaces = dict(lines.pages)
    spine = lines.spine_mm
    if pages.gradient is not None:
        shift = (pages.gradient @ step).reshape(-1, 3, 3)
        surfaces = {
            name: PageSurface(corners_mm=surface.corners_mm + d)
            for (name, surface), d in zip(lines.pages.items(), shift, strict=True)
        }
        spine = None if spine is None else spine + shift[:, 0].mean(axis=0)
    return replace(
        lines,
        eye_mm=replace(view, params=params).eye_mm(),
        strips={name: moved(c) for name, c in lines.strips.items()},
        tabs={name: moved(c) for name, c in lines.tabs.items()},
        edges={name: moved(c) for name, c in lines.edges.items()},
        pages=surfaces,
        spine_mm=spine,
    )


def _of_spine(located: Located, sd_mm: float) -> Array:
    """Covariance from the tick set by hand on the spine: along the pages."""
    pages = {part_name("page", side) for side in SIDES}
    page = next(c for name, c in located.lines.items() if name in pages)
    slope = np.zeros(2 * len(located.names))
    k = located.names.index("spine")
    slope[2 * k : 2 * k + 2] = page.tangent
    out: Array = np.outer(slope, slope) * sd_mm**2
    return out
