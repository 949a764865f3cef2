"""What of a trace is confirmed by measuring it: halves whose loops shut, joints on which two looks agree."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from capture.arrays import Array
from measure.geometry import Curve
from measure.layout import Layout, Panel, Role
from measure.part_names import part_name
from measure.profile import Profile
from measure.reasons import Note, Noted, Unseen, WhyUnseen
from measure.sides import SIDES
from measure.tracing.trace_dummy import Traced
from measure.tracing.traced_shape import aims_at


@dataclass(frozen=True, slots=True, kw_only=True)
class ConfirmNumbers:
    """Tuned numbers; where nothing else is said, found on path-traced photographs of known dummies."""

    slant_deg: float = 1.1
    """A flat spread slants against a sheet that stands on the same table by no more: up to 0.8 degrees are
    seen in 800 dummies, and feet misread by two millimetres slant more."""
    closing_mm: float = 7.0
    """fold + plane spacing and page spacing + leg differ by no more, or it is not a loop of card: faults of
    some millimetres are common, a trace on the wrong edges is off by more. Common practice, no source."""
    edge_on_closing_mm: float = 2.5
    """The same where a line runs toward the eye: it may be an edge running back, less is believed."""
    edge_on_deg: float = 1.0
    """A leg within this of running toward the eye is seen edge-on."""
    agree_mm: float = 1.0
    """Two looks at one photo put a joint within this."""
    alone_share: float = 0.75
    """Share of a side of the fold that is seen where no leg beside it confirms it."""
    traced_mm: float = 1.5
    """What only one look saw lies within this of where it was traced."""
    ridge_gap_mm: float = 0.8
    """The plane's line comes to the ridge, even if its crease is glued off it."""
    off_plane_mm: float = 0.35
    """A leg's top lies within this of the line from the ridge to the plane's edge, ..."""
    off_plane_share: float = 0.02
    """... and this share of its distance from the ridge: a plane may be bowed by about a millimetre."""
    corner_mm: float = 3.0
    """The plane's cut edge is where an edge runs back from it, within this."""


TUNED = ConfirmNumbers()


def page_slant_deg(layout: Layout, profile: Profile) -> float:
    """How far the feet of a flat spread slant against the sheet, degrees; 0 for fewer than two feet.

    Sheet and spread stand on one table: feet that slant were misread, and every height and lean with them.
    """
    on_page = [j for p in layout.panels if p.role is Role.PAGE for j in p.joints[1:-1]]
    feet = sorted((profile.at(j) for j in on_page if j in profile.joints), key=lambda xy: float(xy[0]))
    if len(feet) < 2:
        return 0.0
    across, up = feet[-1] - feet[0]
    return abs(float(np.degrees(np.arctan2(up, across))))


def fold_gap_mm(profile: Profile) -> float:
    """By how much foot and side of the fold on the left differ from those on the right, mm; 0 if unknown.

    They are equal in every fold that shuts; a page found at the wrong place makes them differ by far.
    """
    feet = [part_name("inner foot", side) for side in SIDES]
    if not all(j in profile.joints for j in ("spine", "ridge", *feet)):
        return 0.0
    sums = [
        sum(float(np.hypot(*(profile.at(foot) - profile.at(end)))) for end in ("spine", "ridge"))
        for foot in feet
    ]
    return abs(sums[0] - sums[1])


def sound_part(traced: Traced, profile: Profile, eye_mm: Array) -> tuple[Traced, list[Note]]:
    """Drop halves of the plane that the measurement does not confirm; say which and why."""
    notes: list[Note] = []
    dropped: list[str] = []
    found = {p.name for p in profile.panels if p.found}
    for side in SIDES:
        legs = [p for p in traced.layout.panels if p.role is Role.LEG and p.side == side]
        halves = [p.name for p in traced.layout.panels if p.role is Role.PLANE and p.side == side]
        if not halves:
            continue
        half = halves[0]
        feet = traced.at_mm
        bad = [
            leg.name for leg in legs if leg.name not in found or not _confirmed(profile, leg, eye_mm, feet)
        ]
        dropped += bad
        clear = half in found and _comes_to_ridge(profile, half)
        if not clear or len(bad) == len(legs):
            why = Noted.HALF_WITHOUT_LEG if clear else Noted.HALF_UNCLEAR
            notes.append(Note(kind=why, names=(side,)))
            dropped += [half, *(leg.name for leg in legs)]
        elif bad:
            notes.append(Note(kind=Noted.LEGS_LEFT_OUT, names=tuple(bad)))
    return traced.without(set(dropped), traced.unsure), notes


def _confirmed(profile: Profile, leg: Panel, eye_mm: Array, traced: Mapping[str, Array]) -> bool:
    """Whether the loop of a leg can shut; less is believed of one that may be an edge running back.

    Where the foot of the fold was not measured, that it was `traced` is good enough for this.
    """
    edge_on = _edge_on(profile, leg.name, eye_mm)
    return _shuts(profile, leg, TUNED.edge_on_closing_mm if edge_on else TUNED.closing_mm, traced)


def _edge_on(profile: Profile, leg: str, eye_mm: Array) -> bool:
    line = profile.panel(leg).line_mm
    return aims_at(Curve(a=line[0], b=line[-1]), eye_mm, TUNED.edge_on_deg)


def _comes_to_ridge(profile: Profile, half: str) -> bool:
    line = profile.panel(half).line_mm
    curve = Curve(a=line[0], b=line[-1])
    if "ridge" not in profile.joints:
        return False
    return abs(float((profile.at("ridge") - curve.a) @ curve.normal)) < TUNED.ridge_gap_mm


def _shuts(profile: Profile, leg: Panel, within_mm: float, traced: Mapping[str, Array]) -> bool:
    """Whether the loop of a leg, its spacings and its side of the fold can shut flat."""
    inner, (outer, top) = part_name("inner foot", leg.side), leg.joints
    if not all(j in profile.joints for j in (outer, top, "ridge")):
        return False
    at = {j: profile.at(j) for j in (outer, top, "ridge")}
    at[inner] = profile.at(inner) if inner in profile.joints else traced[inner]

    def length(a: str, b: str) -> float:
        return float(np.hypot(*(at[b] - at[a])))

    closing = length(inner, "ridge") + length("ridge", top) - length(inner, outer) - length(outer, top)
    return abs(closing) < within_mm


def agreed(
    traced: Traced, first: Profile, second: Profile, *, page_sure: bool = False
) -> tuple[Profile, list[Note]]:
    """Take out of the second profile what the two looks do not agree on, and ends that are only guessed.

    Unless marks tell the page (`page_sure`), a side of the fold that no loop confirms must be seen nearly
    whole: it may have been drawn on through a page that was not found.
    """
    notes: list[Note] = []
    out: dict[str, WhyUnseen] = {}
    kept = {p.name for p in traced.layout.panels}
    second = replace(second, panels=tuple(p for p in second.panels if p.name in kept))
    edges = traced.layout.free_ends(Role.PLANE)
    for joint in second.joints:
        if joint not in traced.layout.joint_names:
            out[joint] = WhyUnseen(kind=Unseen.PANEL_LEFT_OUT)
            continue
        if joint in second.by_hand:
            continue
        if joint in edges:
            off = float(np.hypot(*(second.at(joint) - traced.at_mm[joint])))
            if joint in traced.unsure or off > TUNED.corner_mm:
                out[joint] = WhyUnseen(kind=Unseen.PLANE_END_UNSURE)
        elif not _seen_alike(traced, first, second, joint):
            out[joint] = WhyUnseen(kind=Unseen.LOOKS_DIFFER)
            notes.append(Note(kind=Noted.JOINT_LOOKS_DIFFER, names=(joint,)))
    for joint in () if page_sure else _hardly_seen(traced.layout, second):
        if joint in second.joints:
            out[joint] = WhyUnseen(kind=Unseen.FOOT_UNSURE)
    for joint in _off_plane(traced.layout, second, set(second.joints) - set(out)):
        out[joint] = WhyUnseen(kind=Unseen.OFF_THE_PLANE)
        notes.append(Note(kind=Noted.JOINT_OFF_PLANE, names=(joint,)))
        # What was taken for its leg is none.
        feet = [p.joints[0] for p in traced.layout.panels if p.role is Role.LEG and joint in p.joints]
        out |= {foot: WhyUnseen(kind=Unseen.PANEL_LEFT_OUT) for foot in feet if foot in second.joints}
    return _without_joints(second, out), notes


def _hardly_seen(layout: Layout, profile: Profile) -> list[str]:
    """Feet of sides of the fold beside which no leg is confirmed and of which too much is not seen."""
    out: list[str] = []
    for panel in layout.panels:
        if panel.role is not Role.FOLD or any(
            p.role is Role.LEG and p.side == panel.side for p in layout.panels
        ):
            continue
        fit = profile.panel(panel.name)
        if fit.found and fit.n_used < TUNED.alone_share * fit.n_stations:
            out.append(panel.joints[0])
    return out


def _seen_alike(traced: Traced, first: Profile, second: Profile, joint: str) -> bool:
    """Whether two looks put a joint in one place; for what one of them saw in ink, the trace is the other."""
    at = second.at(joint)
    if joint in first.joints and first.inked == second.inked:
        return bool(np.hypot(*(at - first.at(joint))) <= TUNED.agree_mm)
    if second.inked and joint in traced.at_mm:
        return bool(np.hypot(*(at - traced.at_mm[joint])) <= TUNED.traced_mm)
    return True


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
                out_along = float((profile.at(joint) - line.a) @ line.tangent)
                if off > TUNED.off_plane_mm + TUNED.off_plane_share * out_along:
                    out.append(joint)
    return out


def _without_joints(profile: Profile, out: dict[str, WhyUnseen]) -> Profile:
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
