"""Where the pages lie under an inked dummy: told by marks, or by the tabs that lie on them."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.linalg import block_diag

from capture.arrays import Array
from capture.camera.view import View
from measure.geometry import Curve, meeting
from measure.inked.measure_ink import InkMeasured
from measure.inked.near_end_plane import PageSurface
from measure.layout import Layout, Role
from measure.part_names import part_name


@dataclass(frozen=True, slots=True, kw_only=True)
class PageNumbers:
    """What is known of pages that no marks tell; standard deviations."""

    height_mm: float = 30.0
    slope: float = 0.1
    """Height and slope are solved from the tabs."""
    bend: float = 0.0035
    """Each page of a spread that lies flat rises from the common line by so much (radians): seen up to 0.3
    degrees."""
    reach_mm: float = 60.0
    """Distance of the second place at which a page's height is told."""
    alike: float = 0.5
    """How much of what marks leave uncertain about one page's height is so of the other's, too: one print."""


TUNED = PageNumbers()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class KnownPages:
    """Pages before the depths are solved.

    Attributes
    ----------
    surfaces : page -> where its joints lie. heights_cov : (2 P, 2 P), see `measure.inked.ink_lines.InkLines`.
    gradient : (9 P, 16) change of all corners with the view's parameters, or None where marks tell nothing.
    spine_mm : (3,) the spine, if a tick tells it; spine_sd_mm : along the page.
    """

    surfaces: Mapping[str, PageSurface]
    heights_cov: Array
    gradient: Array | None = None
    spine_mm: Array | None = None
    spine_sd_mm: float = 0.0


def marked_lines(pages: KnownPages | None, z_mm: float) -> dict[str, Curve]:
    """Return page -> line of its joints in the plane z = z_mm, from the spine outward; {} if unmarked."""
    if pages is None:
        return {}
    out: dict[str, Curve] = {}
    for name, surface in pages.surfaces.items():
        first, second, third = surface.corners_mm
        toward = third - first
        ends = [p + (z_mm - p[2]) / toward[2] * toward for p in (first, second)]
        out[name] = Curve(a=ends[0][:2], b=ends[1][:2])
    return out


def pages_from_tabs(ink: InkMeasured, z_mm: float, *, flat: bool) -> KnownPages:
    """Return pages through the tabs seen on them, square to the sheet, their heights still to be solved.

    A page without tabs of its own goes on in the line of the other if the spread lies flat, else it is out.
    """
    feet = _feet(ink)
    pages = [p for p in ink.layout.panels if p.role is Role.PAGE]
    surfaces: dict[str, PageSurface] = {}
    if flat:
        at = np.array([xy for many in feet.values() for xy in many]).reshape(-1, 2)
        if len(at) == 0:
            return KnownPages(surfaces={}, heights_cov=np.zeros((0, 0)))
        frame = ink.frames[pages[-1].name]
        middle, slope = _line(at, frame.along, frame.up)
        direction = frame.along + slope * frame.up
        inner = _between(ink, at, middle, direction)
        for page in pages:
            out = direction * np.sign(float(ink.frames[page.name].along @ direction))
            surfaces[page.name] = _surface(inner, out, frame.up, z_mm)
    else:
        for page in pages:
            at = np.array(feet.get(page.name, [])).reshape(-1, 2)
            if len(at) == 0:
                continue
            frame = ink.frames[page.name]
            middle, slope = _line(at, frame.along, frame.up)
            surfaces[page.name] = _surface(middle, frame.along + slope * frame.up, frame.up, z_mm)
    return KnownPages(surfaces=surfaces, heights_cov=_free_heights(surfaces, flat=flat))


def _feet(ink: InkMeasured) -> dict[str, list[Array]]:
    """Return page -> where strips meet their tabs on it."""
    out: dict[str, list[Array]] = {}
    for panel in ink.layout.panels:
        foot = panel.joints[0]
        if panel.name not in ink.strips or foot not in ink.tabs:
            continue
        page = next(p.name for p in ink.layout.panels if p.role is Role.PAGE and foot in p.joints)
        strip, tab = ink.strips[panel.name].curve, ink.tabs[foot].line
        out.setdefault(page, []).append(meeting(strip, tab))
    return out


def _line(at: Array, along: Array, up: Array) -> tuple[Array, float]:
    """Middle (2,) of points (N, 2) and the slope of the line through them, against `along`."""
    middle = at.mean(axis=0)
    x = (at - middle) @ along
    spread = float(x @ x)
    return middle, float(x @ ((at - middle) @ up)) / spread if spread > 1.0 else 0.0


def _between(ink: InkMeasured, at: Array, middle: Array, direction: Array) -> Array:
    """Where (2,) the spine roughly is on the line: as far from the tabs as the design has it."""
    base = (
        ink.found.placement.apply(ink.layout.at("spine")[None])[0]
        if "spine" in ink.layout.joint_names
        else at[0]
    )
    out: Array = middle + float((base - middle) @ direction) * direction
    return out


def _surface(inner: Array, outward: Array, up: Array, z_mm: float) -> PageSurface:
    first = np.array([*inner, z_mm])
    second = np.array([*(inner + TUNED.reach_mm * outward), z_mm])
    return PageSurface(corners_mm=np.stack([first, second, first + (0.0, 0.0, TUNED.reach_mm)]))


def _free_heights(surfaces: Mapping[str, PageSurface], *, flat: bool) -> Array:
    """Prior covariance of the heights at every page's first two corners."""
    n = 2 * len(surfaces)
    outer = np.arange(n) % 2 == 1
    if not flat:
        block = TUNED.height_mm**2 * np.ones((2, 2)) + np.diag([0.0, (TUNED.slope * TUNED.reach_mm) ** 2])
        return np.asarray(np.kron(np.eye(len(surfaces)), block) + 1e-6 * np.eye(n))
    x = np.array([s.corners_mm[k, 0] - s.corners_mm[0, 0] for s in surfaces.values() for k in (0, 1)])
    cov = TUNED.height_mm**2 * np.ones((n, n)) + TUNED.slope**2 * np.outer(x, x)
    return np.asarray(cov + np.diag(np.where(outer, (TUNED.bend * TUNED.reach_mm) ** 2, 1e-6)))


def pages_of_view(view: View, layout: Layout) -> KnownPages | None:
    """Return the pages that a sill or a doorstep tells; None where nothing lies on them."""
    if view.page is None:
        return None
    surfaces: dict[str, PageSurface] = {}
    gradients: list[Array] = []
    blocks: list[Array] = []
    heights = np.array([1, 4])  # y of the first two corners
    for side in view.page.sides:
        flat = PageSurface(corners_mm=side.corners_mm)
        joints = PageSurface(corners_mm=side.corners_mm + layout.card_mm / 2 * flat.normal)
        surfaces[part_name("page", side.side)] = joints
        gradients.append(side.gradient)
        blocks.append(side.rest_cov[np.ix_(heights, heights)])
    cov = block_diag(*blocks)
    for i, one in enumerate(blocks):
        for j, other in enumerate(blocks):
            if i != j:  # paper lies alike on both pages, partly
                both = np.sqrt(np.outer(np.diag(one), np.diag(other)))
                cov[2 * i : 2 * i + 2, 2 * j : 2 * j + 2] = TUNED.alike * both
    return KnownPages(
        surfaces=surfaces,
        heights_cov=cov,
        gradient=np.vstack(gradients),
        spine_mm=view.page.spine_mm if view.page.has_tick else None,
        spine_sd_mm=view.page.spine_sd_mm,
    )
