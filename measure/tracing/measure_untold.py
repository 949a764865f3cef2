"""The measurement of a dummy of which no design is known: traced, measured by the trace, and judged.

Two looks: the first with the trace as expected layout, the second with what the first one measured; what the
two do not agree on is not told. A half of the plane is told only if plane and leg were both found and the
loop they make can shut flat, as every dummy that works must.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from capture.arrays import Array
from capture.camera.view import View
from capture.photo import Photo
from capture.sheet.marker_sheet import MarkerSheet
from measure.edges.detectors import edges_of
from measure.geometry import Curve
from measure.guided.measure_profile import measure_profile
from measure.joints.by_hand import HandPoint
from measure.layout import Card, Layout, Panel, Role
from measure.measure_errors import MeasureError, PointsError
from measure.measuring_plane import plane_of
from measure.part_names import part_name
from measure.profile import Profile
from measure.region import search_region
from measure.scene import Scene
from measure.sides import SIDES
from measure.tracing.numbered_panels import numbered
from measure.tracing.trace_dummy import Traced, stripes_in, trace
from measure.tracing.traced_shape import aims_at

CLOSING_MM = 7.0
"""fold + plane spacing and page spacing + leg differ by no more, or it is not a loop of card: faults of some
millimetres are common, a trace on the wrong edges is off by more. Common practice, no source."""
EDGE_ON_CLOSING_MM = 2.5  # a line that runs toward the eye may be an edge running back: less is believed
UNNAMED = "No construction with a name was recognised: the panels are numbered from the left."
AGREE_MM = 1.0
RIDGE_GAP_MM = 0.8  # the plane's line comes to the ridge, even if its crease is glued off it
EDGE_ON_DEG = 1.0
OFF_PLANE_MM = 1.2  # a plane half may be bowed by about a millimetre
CORNER_MM = 3.0  # the plane's cut edge is where an edge runs back from it, within this


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Untold:
    """A dummy measured without a design.

    Attributes
    ----------
    traced : topology and names; its lengths are those that may be told.
    profile : joints and panels, measured.
    notes : what could not be made out, in plain sentences.
    """

    traced: Traced
    profile: Profile
    notes: tuple[str, ...]


def measure_untold(
    photo: Photo,
    view: View,
    sheet: MarkerSheet,
    card: Card,
    *,
    arch: bool,
    bottom_closed: bool = False,
    standoff_mm: float = 0.0,
    standoff_err_mm: float = 0.5,
    blur_px: float = 0.9,
    hand: Sequence[HandPoint] = (),
) -> Untold:
    """Trace and measure a dummy in a photo.

    Parameters
    ----------
    card : what is assumed of the card.
    photo, view, sheet, arch, bottom_closed, standoff_mm, standoff_err_mm, blur_px, hand : see
        `measure.guided.measure_profile.measure_profile`.

    Raises
    ------
    MeasureError
        If no dummy can be made out, or what was traced is not confirmed.
    """
    region = search_region(view, sheet, standoff_mm, arch=arch, bottom_closed=bottom_closed)
    plane = plane_of(photo, view, standoff_mm, region)
    scene = Scene(edges=edges_of(plane), layout=Layout.of_nothing(card), region=region, blur_px=blur_px)
    stripes = stripes_in(scene, sheet)

    def look(by: Traced) -> Profile:
        unseen = by.layout.free_ends(Role.PAGE)
        seeds = {n: at for n, at in by.at_mm.items() if n not in unseen}
        return measure_profile(
            photo,
            view,
            by.layout,
            sheet,
            arch=arch,
            bottom_closed=bottom_closed,
            standoff_mm=standoff_mm,
            standoff_err_mm=standoff_err_mm,
            blur_px=blur_px,
            hand=hand,
            seeds=seeds,
        )

    why = "no two strips meet in a ridge over a page"
    traced = trace(stripes, scene)
    if traced is not None:
        found = _construction(traced, look, plane.eye_mm)
        if isinstance(found, Untold):
            return found
        why = found
    traced = numbered(stripes, region.table_mm, plane.eye_mm, card)
    if traced is not None:
        plain = _plain(traced, look)
        if plain is not None:
            return plain
    raise MeasureError(
        f"{photo.name}: no dummy could be traced: {why}; take the photo against a plain, darker background "
        "with soft light, or write a spec and use check"
    )


Look = Callable[[Traced], Profile]


def _construction(traced: Traced, look: Look, eye_mm: Array) -> Untold | str:
    """Measure a dummy with a parallel fold as traced; or say why it is not confirmed."""
    try:
        first = look(traced)
        sound, notes = sound_part(traced, first, eye_mm)
        second = look(sound.moved(first))
    except PointsError:
        raise
    except MeasureError:
        return "what was traced was not confirmed on a closer look"
    sound, more = sound_part(sound, second, eye_mm)
    profile, told = _agreed(sound, first, second)
    found = {p.name for p in profile.panels if p.found}
    lost = [p.side for p in sound.layout.panels if p.role is Role.FOLD and p.name not in found]
    if lost:
        return f"the {lost[0]} side of its fold was not confirmed"
    innermost = (part_name("leg top", s, n) for s in SIDES for n in (0, 1))
    if not any(top in profile.joints for top in innermost):
        return "no half of a plane with a leg was confirmed"
    return Untold(traced=sound, profile=profile, notes=tuple(dict.fromkeys((*notes, *more, *told))))


def _plain(traced: Traced, look: Look) -> Untold | None:
    """Measure numbered panels; None unless two standing ones and what they carry are confirmed twice."""
    try:
        first = look(traced)
        second = look(traced.moved(first))
    except PointsError:
        raise
    except MeasureError:
        return None
    profile, told = _agreed(traced, first, second)
    pages = {p.name for p in traced.layout.panels if p.role is Role.PAGE}
    found = [p.name for p in profile.panels if p.found and p.name not in pages]
    if len(found) < 3 or len(profile.joints) < 4:
        return None
    return Untold(traced=traced, profile=profile, notes=(UNNAMED, *told))


def sound_part(traced: Traced, profile: Profile, eye_mm: Array) -> tuple[Traced, list[str]]:
    """Drop halves of the plane that the measurement does not confirm; say which and why."""
    notes: list[str] = []
    dropped: list[str] = []
    found = {p.name for p in profile.panels if p.found}
    for side in SIDES:
        legs = [p for p in traced.layout.panels if p.role is Role.LEG and p.side == side]
        halves = [p.name for p in traced.layout.panels if p.role is Role.PLANE and p.side == side]
        if not halves:
            continue
        half = halves[0]
        bad = [leg.name for leg in legs if leg.name not in found or not _confirmed(profile, leg, eye_mm)]
        dropped += bad
        clear = half in found and _comes_to_ridge(profile, half)
        if not clear or len(bad) == len(legs):
            why = "no leg under it was confirmed" if clear else "it was not seen clearly"
            notes.append(f"The {side} half of the plane is left out: {why}.")
            dropped += [half, *(leg.name for leg in legs)]
        elif bad:
            notes.append(f"Left out, not confirmed: {', '.join(bad)}.")
    return traced.without(set(dropped), traced.unsure), notes


def _confirmed(profile: Profile, leg: Panel, eye_mm: Array) -> bool:
    """Whether the loop of a leg can shut; less is believed of one that may be an edge running back."""
    edge_on = _edge_on(profile, leg.name, eye_mm)
    return _shuts(profile, leg, EDGE_ON_CLOSING_MM if edge_on else CLOSING_MM)


def _edge_on(profile: Profile, leg: str, eye_mm: Array) -> bool:
    line = profile.panel(leg).line_mm
    return aims_at(Curve(a=line[0], b=line[-1]), eye_mm, EDGE_ON_DEG)


def _comes_to_ridge(profile: Profile, half: str) -> bool:
    line = profile.panel(half).line_mm
    curve = Curve(a=line[0], b=line[-1])
    if "ridge" not in profile.joints:
        return False
    return abs(float((profile.at("ridge") - curve.a) @ curve.normal)) < RIDGE_GAP_MM


def _shuts(profile: Profile, leg: Panel, within_mm: float) -> bool:
    """Whether the loop of a leg, its spacings and its side of the fold can shut flat."""
    inner, (outer, top) = part_name("inner foot", leg.side), leg.joints
    if not all(j in profile.joints for j in (inner, outer, top, "ridge")):
        return False

    def length(a: str, b: str) -> float:
        return float(np.hypot(*(profile.at(b) - profile.at(a))))

    closing = length(inner, "ridge") + length("ridge", top) - length(inner, outer) - length(outer, top)
    return abs(closing) < within_mm


def _agreed(traced: Traced, first: Profile, second: Profile) -> tuple[Profile, list[str]]:
    """Take out of the second profile what the two looks do not agree on, and ends that are only guessed."""
    notes: list[str] = []
    out: dict[str, str] = {}
    kept = {p.name for p in traced.layout.panels}
    second = replace(second, panels=tuple(p for p in second.panels if p.name in kept))
    edges = traced.layout.free_ends(Role.PLANE)
    for joint in second.joints:
        if joint not in traced.layout.joint_names:
            out[joint] = "its panel is left out"
            continue
        if joint in second.by_hand:
            continue
        if joint in edges:
            off = float(np.hypot(*(second.at(joint) - traced.at_mm[joint])))
            if joint in traced.unsure or off > CORNER_MM:
                out[joint] = "where the plane ends cannot be told"
        elif joint in first.joints and float(np.hypot(*(second.at(joint) - first.at(joint)))) > AGREE_MM:
            out[joint] = "two looks at the photo place it differently"
            notes.append(f"The {joint} is left out: two looks at the photo place it differently.")
    for joint in _off_plane(traced.layout, second, set(second.joints) - set(out)):
        out[joint] = "it does not lie in the plane"
        notes.append(f"The {joint} is left out: it does not lie between the ridge and the plane's edge.")
    return _without_joints(second, out), notes


def _off_plane(layout: Layout, profile: Profile, told: set[str]) -> list[str]:
    """Tops of legs that miss the straight line from the ridge to the plane's edge, where both are told."""
    out: list[str] = []
    for panel in layout.panels:
        if panel.role is not Role.PLANE or not panel.free_end:
            continue
        ridge, *tops, edge = panel.joints
        if not {ridge, edge} <= told:
            continue
        line = Curve(a=profile.at(ridge), b=profile.at(edge))
        for joint in sorted(tops):
            if joint in told:
                off = abs(float((profile.at(joint) - line.a) @ line.normal))
                if off > OFF_PLANE_MM:
                    out.append(joint)
    return out


def _without_joints(profile: Profile, out: dict[str, str]) -> Profile:
    keep = [i for i, name in enumerate(profile.joints) if name not in out]
    rows = np.array([2 * i + k for i in keep for k in (0, 1)], dtype=int)
    return replace(
        profile,
        joints=tuple(profile.joints[i] for i in keep),
        xy_mm=profile.xy_mm[keep],
        cov_mm2=profile.cov_mm2[np.ix_(rows, rows)],
        cov_by_source={s: c[np.ix_(rows, rows)] for s, c in profile.cov_by_source.items()},
        near_end_gain=profile.near_end_gain[rows] if profile.near_end_gain.size else profile.near_end_gain,
        undetermined={**profile.undetermined, **out},
    )
