"""All inked lines of one photo as measured, and the joints where they meet once every one is at its depth."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from capture.arrays import Array
from measure.geometry import Curve, crossing, meeting
from measure.inked.near_end_plane import NearEndPlane, PageSurface
from measure.joints.joint_location import TUNED as JOINTS
from measure.joints.joint_location import meet
from measure.layout import Layout, Panel, Role


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class InkLines:
    """Everything measured, in the plane z = z_mm parallel to the sheet.

    Attributes
    ----------
    layout : the design.
    eye_mm : (3,) the camera. z_mm : the measured plane.
    strips : fold or leg -> its near end's middle line. tabs : foot -> its tab's middle line.
    edges : plane half -> the UPPER edge of its near end; up : +1 if up is to the left of it.
    ends : plane half -> where it ends, mm along its edge from its start.
    card_mm, plane_mm : thickness of the strips' and of the plane's card.
    pages : page -> where its joints lie. heights_cov : (2 P, 2 P) covariance of the heights of every page's
        first two corners, in the order of `pages`, mm^2.
    spine_mm : (3,) the spine on the pages' surface, if a tick tells it.
    pages_marked : whether marks on the pages tell where they lie.
    offset_sd_mm : how far the near ends may stand from the measured plane (standard deviation).
    own_sd_mm : and each from all others' plane; None: as the design says.
    """

    layout: Layout
    eye_mm: Array
    z_mm: float
    strips: Mapping[str, Curve]
    tabs: Mapping[str, Curve]
    edges: Mapping[str, Curve]
    up: Mapping[str, float]
    ends: Mapping[str, float]
    card_mm: float
    plane_mm: float
    pages: Mapping[str, PageSurface]
    heights_cov: Array
    spine_mm: Array | None = None
    pages_marked: bool = False
    offset_sd_mm: float = 1.0
    own_sd_mm: float | None = None

    @property
    def measured(self) -> list[Panel]:
        """Strips and plane halves whose lines were measured."""
        return [p for p in self.layout.panels if p.name in self.strips or p.name in self.edges]

    def folds_at(self, ridge: str) -> list[str]:
        """Folds measured that end in a ridge."""
        return [
            p.name
            for p in self.layout.panels
            if p.role is Role.FOLD and p.joints[-1] == ridge and p.name in self.strips
        ]

    def hinge(self, edge: Curve, name: str) -> Curve:
        """Line of the joints under a plane half, from its upper edge."""
        down = -self.up[name] * (self.plane_mm + self.card_mm / 2)
        return replace(edge, d0=down, d1=down).straightened()

    def page_of(self, foot: str) -> str:
        """Name of the page that a foot stands on; "" for a joint that is not on a page measured."""
        on = (p.name for p in self.layout.panels if p.role is Role.PAGE and foot in p.joints[1:])
        page = next(on, "")
        return page if page in self.pages else ""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Located:
    """Joints in the near-end plane: their names, places (J, 2), and every panel's line there."""

    names: tuple[str, ...]
    xy_mm: Array
    lines: Mapping[str, Curve]


def locate(
    lines: InkLines, plane: NearEndPlane, own_mm: Mapping[str, float], heights_mm: Mapping[str, Array]
) -> Located:
    """Carry every line to its own near end's depth and let them meet.

    Parameters
    ----------
    own_mm : panel -> how far its near end stands before the plane.
    heights_mm : page -> (2,) how much higher than assumed it is at its first two corners.
    """

    def carried(curve: Curve, panel: str) -> Curve:
        return plane.carried(curve, lines.eye_mm, lines.z_mm, own_mm.get(panel, 0.0))

    strips = {name: carried(c, name) for name, c in lines.strips.items()}
    hinges = {name: lines.hinge(carried(c, name), name) for name, c in lines.edges.items()}
    pages = {
        name: plane.page_line(surface.raised(heights_mm.get(name, np.zeros(2))))
        for name, surface in lines.pages.items()
    }
    at: dict[str, Array] = {}
    for panel in lines.measured:
        if panel.role is Role.PLANE:
            continue
        foot = panel.joints[0]
        if foot in lines.tabs:
            at[foot] = _meeting([strips[panel.name], carried(lines.tabs[foot], panel.name)])
        elif lines.page_of(foot):
            at[foot] = _meeting([strips[panel.name], pages[lines.page_of(foot)]])
    for panel in lines.measured:
        if panel.role is not Role.PLANE:
            continue
        hinge, ridge = hinges[panel.name], panel.joints[0]
        folds = [strips[name] for name in lines.folds_at(ridge)]
        if ridge not in at and folds:
            at[ridge] = _meeting(folds if len(folds) > 1 else [*folds, hinge])
        for joint in panel.joints[1:-1]:
            legs = [strips[p.name] for p in lines.measured if p.role is Role.LEG and p.joints[-1] == joint]
            if legs:
                at[joint] = _meeting([legs[0], hinge])
        if panel.name in lines.ends:
            share = lines.ends[panel.name] / lines.edges[panel.name].length
            at[panel.joints[-1]] = hinge.points(np.array([share]))[0]
    for ridge in {p.joints[-1] for p in lines.measured if p.role is Role.FOLD} - set(at):
        folds = [strips[name] for name in lines.folds_at(ridge)]
        if len(folds) > 1:
            at[ridge] = _meeting(folds)
    at |= _spine(lines, plane, list(pages.values()))
    names = tuple(j for j in lines.layout.joint_names if j in at)
    xy = np.array([at[j] for j in names]).reshape(-1, 2)
    return Located(names=names, xy_mm=xy, lines={**pages, **strips, **hinges})


def _meeting(curves: Sequence[Curve]) -> Array:
    if len(curves) == 2:
        return meeting(curves[0], curves[1])
    return meet(curves, np.ones(len(curves)), crossing(curves[0], curves[1]))


def _spine(lines: InkLines, plane: NearEndPlane, pages: Sequence[Curve]) -> dict[str, Array]:
    """Where the spine is: where two raised pages cross, else where the tick was set."""
    if len(pages) == 2 and abs(float(pages[0].tangent @ pages[1].normal)) > np.sin(JOINTS.parallel_rad):
        return {"spine": crossing(*pages)}
    if lines.spine_mm is None or not pages:
        return {}
    x = float(plane.flat(lines.spine_mm)[0])
    return {"spine": np.mean([c.a + (x - c.a[0]) / (c.b[0] - c.a[0]) * (c.b - c.a) for c in pages], axis=0)}
