"""How far in front of the sheet or behind it every near end stands: told by the tabs, which lie on the page.

The height at which a tab is seen tells its depth: 1 mm of depth looks sin(elevation) mm high. And the ridge
lies under the plane, so the gap between the folds' crossing and the line of the plane's joints tells the
plane's depth against the fold's. One linear adjustment with priors (normal equations; unknowns observed by
what is known of them beforehand) solves offset and turn of the common plane, the pages' heights and every
piece's own depth. Pages that no marks tell have heights free to be solved from the tabs.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from capture.arrays import Array
from measure.geometry import meeting
from measure.inked.ink_lines import InkLines
from measure.inked.near_end_plane import NearEndPlane
from measure.layout import Panel, Role


@dataclass(frozen=True, slots=True, kw_only=True)
class DepthNumbers:
    """What is known of depths before anything is seen: standard deviations, mm."""

    turn: float = 0.008
    """Near ends turned against the sheet (radians): seen up to 0.7 degrees."""
    lean: float = 0.007
    """... and leaning against it (radians): an arch stands askew by some tenths of a degree ..."""
    marked_lean: float = 0.015
    """... which marks on the page tell, too, but a sill springs up by a degree."""
    gap_mm: float = 0.06
    """The ridge is not quite half a card below the plane's lower face."""
    tab_mm: float = 0.02
    """A tab's height beyond what its fit says: glue under it, the ink's edge."""
    least_mm: float = 0.05
    """No near ends are cut evener than this."""
    rounds: int = 3
    told_counts: float = 2.0
    """What the design says of uneven near ends counts as much as so many strips seen."""
    astray: float = 3.0
    """Standard deviations: a tab farther than this from where all others let expect it is none."""


TUNED = DepthNumbers()
COMMON = 3  # unknowns of the common plane: offset, turn, lean


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Depths:
    """Solved depths.

    Attributes
    ----------
    unknowns : (N,) offset, turn, lean, two heights per page, then the pieces' own depths.
    cov : (N, N) covariance of their errors. rest : (N, N) of the part that stems from what was assumed
        beforehand; what was seen has errors of its own.
    pages : in the order of the unknowns. panels : whose own depths follow, in this order.
    y0_mm : height at which the plane's offset is told. z_mm : the measured plane.
    """

    unknowns: Array
    cov: Array
    rest: Array
    pages: tuple[str, ...]
    panels: tuple[str, ...]
    y0_mm: float
    z_mm: float

    def plane(self, unknowns: Array | None = None) -> NearEndPlane:
        """Return the plane of the near ends, as solved or at other unknowns."""
        offset, turn, lean = (self.unknowns if unknowns is None else unknowns)[:COMMON].tolist()
        return NearEndPlane(offset_mm=self.z_mm + offset, turn=turn, lean=lean, y0_mm=self.y0_mm)

    def own(self, unknowns: Array | None = None) -> dict[str, float]:
        """Return panel -> how far it stands before the plane."""
        u = self.unknowns if unknowns is None else unknowns
        return {panel: float(u[self.index(panel)]) for panel in self.panels}

    def index(self, panel: str) -> int:
        """Index of a panel's own depth in the unknowns."""
        return COMMON + 2 * len(self.pages) + self.panels.index(panel)

    def heights(self, unknowns: Array | None = None) -> dict[str, Array]:
        """Return page -> (2,) how much higher than assumed it is."""
        u = self.unknowns if unknowns is None else unknowns
        return {name: u[COMMON + 2 * k : COMMON + 2 * k + 2] for k, name in enumerate(self.pages)}


def astray(lines: InkLines, tab_sd_mm: Mapping[str, float], two_sided: Mapping[str, float]) -> str:
    """Foot whose tab does not lie where all other tabs let expect it; "" if all agree.

    Of two that do not agree the one that is seen as a line rather than as a step is believed: `two_sided`.
    """
    misfit: dict[str, float] = {}
    for panel in lines.measured:
        foot = panel.joints[0]
        if panel.role is Role.PLANE or foot not in lines.tabs or not lines.page_of(foot):
            continue
        others = solve_depths(
            replace(lines, tabs={f: t for f, t in lines.tabs.items() if f != foot}), tab_sd_mm
        )
        row = np.zeros(len(others.unknowns))
        row[others.index(panel.name)] = 1.0
        value, by_height = _tab_depth(lines, panel, row, others.pages, others.y0_mm)
        var = (
            float(row @ others.cov @ row) + (by_height * float(np.hypot(tab_sd_mm[foot], TUNED.tab_mm))) ** 2
        )
        misfit[foot] = abs(value - float(row @ others.unknowns)) / float(np.sqrt(var))
    if not misfit or max(misfit.values()) < TUNED.astray:
        return ""
    return max(misfit, key=lambda foot: misfit[foot] * (2.0 - two_sided[foot]))


def evenness(lines: InkLines, tab_sd_mm: Mapping[str, float]) -> float:
    """How unevenly the near ends stand (standard deviation, mm), by their tabs and what the design says.

    The design's word counts as much as some strips; how far the solved depths scatter tells the rest, each
    with what remains unknown of it (expectation and maximisation in turn).
    """
    told = max(lines.layout.near_end_sd_mm, TUNED.least_mm)
    seen = [p for p in lines.measured if p.role is not Role.PLANE and p.joints[0] in lines.tabs]
    sd = told
    for _ in range(TUNED.rounds):
        depths = solve_depths(replace(lines, own_sd_mm=sd), tab_sd_mm)
        at = [depths.index(p.name) for p in seen]
        scatter = float(np.sum(depths.unknowns[at] ** 2 + np.diag(depths.cov)[at]))
        sd = float(np.sqrt((TUNED.told_counts * told**2 + scatter) / (TUNED.told_counts + len(seen))))
    return sd


def solve_depths(lines: InkLines, tab_sd_mm: Mapping[str, float]) -> Depths:
    """Solve the depths of all near ends; `tab_sd_mm` says how well each foot's tab is fitted."""
    pages = tuple(lines.pages)
    pieces = tuple(p.name for p in lines.measured)
    first = COMMON + 2 * len(pages)
    size = first + len(pieces)
    y0 = float(np.mean([s.corners_mm[0, 1] for s in lines.pages.values()])) if pages else 0.0
    prior = np.zeros((size, size))
    prior[0, 0], prior[1, 1], prior[2, 2] = lines.offset_sd_mm**2, TUNED.turn**2, TUNED.lean**2
    prior[COMMON:first, COMMON:first] = lines.heights_cov
    own_sd = lines.layout.near_end_sd_mm if lines.own_sd_mm is None else lines.own_sd_mm
    own_sd = max(own_sd, TUNED.least_mm)
    prior[first:, first:] = np.eye(len(pieces)) * own_sd**2
    rows: list[Array] = []
    values: list[float] = []
    for panel in lines.measured:
        foot = panel.joints[0]
        if panel.role is Role.PLANE or foot not in lines.tabs or not lines.page_of(foot):
            continue
        row = np.zeros(size)
        row[first + pieces.index(panel.name)] = 1.0
        value, by_height = _tab_depth(lines, panel, row, pages, y0)
        sd = by_height * float(np.hypot(tab_sd_mm.get(foot, 0.0), TUNED.tab_mm))
        rows.append(row / sd)
        values.append(value / sd)
    if lines.pages_marked and pages:  # near ends stand square to the pages
        normal = np.sum([s.normal for s in lines.pages.values()], axis=0)
        row = np.zeros(size)
        row[2] = 1.0
        rows.append(row / TUNED.marked_lean)
        values.append(float(normal[2] / normal[1]) / TUNED.marked_lean)
    for half, folds, gap, by_depth in _gaps(lines):
        row = np.zeros(size)
        row[first + pieces.index(half.name)] = by_depth
        for fold in folds:
            row[first + pieces.index(fold.name)] = -by_depth / len(folds)
        rows.append(row / TUNED.gap_mm)
        values.append(gap / TUNED.gap_mm)
    a, y = np.array(rows).reshape(-1, size), np.array(values)
    cov = np.linalg.inv(a.T @ a + np.linalg.inv(prior))
    gain = cov @ a.T
    left = np.eye(size) - gain @ a
    return Depths(
        unknowns=gain @ y,
        cov=cov,
        rest=left @ prior @ left.T,
        pages=pages,
        panels=pieces,
        y0_mm=y0,
        z_mm=lines.z_mm,
    )


def _tab_depth(
    lines: InkLines, panel: Panel, row: Array, pages: tuple[str, ...], y0_mm: float
) -> tuple[float, float]:
    """Depth at which a foot's tab is seen on its page, and mm of it for each mm of height; fills the row."""
    foot, page = panel.joints[0], lines.page_of(panel.joints[0])
    strip, tab, surface = lines.strips[panel.name], lines.tabs[foot], lines.pages[page]
    at = meeting(strip, tab)
    xyz, by_height = surface.met_by(lines.eye_mm, np.array([*at, lines.z_mm]))
    row[:COMMON] = 1.0, xyz[0], xyz[1] - y0_mm
    k, share = COMMON + 2 * pages.index(page), surface.share(float(xyz[0]))
    row[k : k + 2] = -by_height * (1 - share), -by_height * share
    return float(xyz[2]) - lines.z_mm, abs(by_height)


def _gaps(lines: InkLines) -> list[tuple[Panel, list[Panel], float, float]]:
    """Plane halves with their folds, and how far above the line of their joints the folds seem to cross.

    The last number is mm of that for each mm by which the plane stands before the fold.
    """
    out: list[tuple[Panel, list[Panel], float, float]] = []
    for half in lines.measured:
        folds = [p for p in lines.measured if p.role is Role.FOLD and p.joints[-1] == half.joints[0]]
        if half.role is not Role.PLANE or len(folds) != 2:
            continue
        one, other = (lines.strips[p.name] for p in folds)
        apex = meeting(one, other)
        hinge = lines.hinge(lines.edges[half.name], half.name)
        share = float((apex - hinge.a) @ hinge.tangent) / hinge.length
        up = lines.up[half.name] * hinge.normal
        gap = float((apex - hinge.points(np.array([share]))[0]) @ up)
        # What stands 1 mm in front is seen farther from the eye's foot by its distance from it per range.
        lever = float((apex - lines.eye_mm[:2]) @ up) / float(lines.eye_mm[2] - lines.z_mm)
        out.append((half, folds, gap, -lever))
    return out
