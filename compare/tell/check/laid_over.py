"""The design laid over the dummy, and which of the dummy's lengths are marked as at fault."""

from typing import TYPE_CHECKING

import numpy as np

from capture.arrays import Array
from compare.design.expected_layout import layout_of
from compare.quantities.joint_quantities import FEET, bearing_joints, seen_ends
from compare.quantities.measured import feet_lengths
from compare.verdict.conformity import Verdict
from measure.layout import Role

if TYPE_CHECKING:
    from compare.jobs.check_dummy import Inspection
    from compare.verdict.findings import Findings


def _rigid(source: Array, target: Array) -> tuple[Array, Array]:
    """Rotation (2, 2) and shift (2,) that best lay source points on target points (least squares).

    The closed form of the two-dimensional orthogonal Procrustes problem.
    """
    a, b = source - source.mean(axis=0), target - target.mean(axis=0)
    turn = np.arctan2(np.sum(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]), np.sum(a * b))
    rot = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    return rot, target.mean(axis=0) - rot @ source.mean(axis=0)


def design_joints(inspection: "Inspection") -> dict[str, Array]:
    """Joints of the design (2,) in sheet coordinates: page line on page line, feet on feet."""
    profile, mechanism = inspection.profile, inspection.spec.mechanism
    layout = layout_of(inspection.spec)
    joints = dict(zip(layout.joint_names, layout.xy_mm, strict=True))
    inner = [j for j in seen_ends(mechanism).get(FEET, ()) if j in profile.joints]
    on_pages = [j for p in layout.panels if p.role is Role.PAGE for j in p.joints[:-1]]
    page = [j for j in dict.fromkeys(on_pages) if j in profile.joints]
    if len(page) < 2:
        page = [j for j in joints if j in profile.joints]
    rot, shift = _rigid(np.array([joints[j] for j in page]), np.array([profile.at(j) for j in page]))
    if len(inner) == 2:  # keep the page line, slide the feet onto the feet
        at = np.array([rot @ joints[j] + shift for j in inner]).mean(axis=0)
        along = rot @ np.array([1.0, 0.0])
        shift = shift + along * float(along @ (np.array([profile.at(j) for j in inner]).mean(axis=0) - at))
    return {j: rot @ xy + shift for j, xy in joints.items()}


def drawn_joints(inspection: "Inspection") -> dict[str, tuple[str, ...]]:
    """Joints through which each panel of the design is drawn: first, those in its own line, last."""
    out: dict[str, tuple[str, ...]] = {}
    for panel in inspection.spec.mechanism.panels:
        run = (panel.joints[0], *bearing_joints(inspection.spec.mechanism, panel), panel.joints[-1])
        out[panel.name] = tuple(dict.fromkeys(run))
    return out


def marked_lengths(findings: "Findings") -> set[str]:
    """Return the lengths marked as at fault: blamed or failing, and off by more than their own U."""
    blamed = {k for c in findings.causes for k in c.fault.pattern}
    if blamed & set(feet_lengths(findings.spec.mechanism) or ()):
        blamed.add(FEET)
    return {
        i.name
        for i in findings.lengths
        if (i.name in blamed or i.verdict is Verdict.FAILS) and abs(i.deviation) > i.expanded
    }
