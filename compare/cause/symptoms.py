"""What the photo shows beside the lengths.

Bows, a bent base, a bent plane, a crease off the ridge, a spread not fully open. Where a lean is not
explained by the lengths, the most telling of them is the candidate.
"""

from dataclasses import dataclass
from enum import Enum, auto
from typing import Final

import numpy as np

from capture.arrays import Array
from compare.cause.lean import DEG, Leaning
from compare.design.spec.spec import Spec
from compare.quantities.joint_quantities import Joints, bearing_joints, misread_joints
from compare.quantities.measured import Measured
from compare.vocabulary import parsed
from measure.layout import Role
from measure.profile import PanelFit, Profile

BOW_MM: Final = 0.5  # a bow the eye begins to see on a strip; common practice, no source
BEND_DEG: Final = 0.5
LEAST_OUTER_MM: Final = 2.0
OFF_RIDGE_MM: Final = 0.4  # more than a thickness of card


class SymptomKind(Enum):
    """What is seen."""

    BOWED = auto()  # a panel; amount: mm
    BENT = auto()  # the outer part of a panel points another way than the inner one; amount: degrees
    OFF_RIDGE = auto()  # a half of the plane passes by its ridge; amount: mm
    OPENING = auto()  # not as designed; amount: the opening, degrees


@dataclass(frozen=True, slots=True, kw_only=True)
class Symptom:
    """Something seen that is no length.

    Attributes
    ----------
    kind : what it is.
    part : the panel, or the joint that is passed by; "" for the whole spread.
    amount : how much, in the unit of the kind. design : what it should be.
    half : the half of a plane it bears on; "" if on all.
    worth : how far it lies beyond what is worth telling (1 = just), for ranking.
    """

    kind: SymptomKind
    part: str = ""
    amount: float
    design: float = 0.0
    half: str
    worth: float


def _bows(profile: Profile, spec: Spec) -> list[Symptom]:
    out = []
    roles = {p.name: p.role for p in spec.mechanism.panels}
    for fit in profile.panels:
        if not fit.found or roles.get(fit.name) in (None, Role.PAGE) or abs(fit.sagitta_mm) < BOW_MM:
            continue
        out.append(
            Symptom(
                kind=SymptomKind.BOWED,
                part=fit.name,
                amount=abs(fit.sagitta_mm),
                half=_half_of(spec, fit.name),
                worth=abs(fit.sagitta_mm) / BOW_MM,
            )
        )
    return out


def _half_of(spec: Spec, panel: str) -> str:
    """Return the half of the plane that a panel bears on."""
    half = parsed(panel).half
    return next((h.name for h in spec.mechanism.halves if h.plane == panel or h.name == half), "")


def _bent(profile: Profile, spec: Spec, joints: Joints) -> list[Symptom]:
    """Pages and plane halves whose outer part points another way than the inner one."""
    out: list[Symptom] = []
    if spec.mechanism.solve({}, 1.0).nod is not None:
        return out  # a plane that nods shows its joints at different depths
    for panel in spec.mechanism.panels:
        if panel.role not in (Role.PAGE, Role.PLANE):
            continue
        bearing = [j for j in bearing_joints(spec.mechanism, panel) if joints.has(j) and j != "spine"]
        if len(bearing) < 2 or not panel.free_end or not joints.has(panel.joints[-1]):
            continue
        inner = profile.at(bearing[-1]) - profile.at(bearing[0])
        outer = profile.at(panel.joints[-1]) - profile.at(bearing[-1])
        if float(inner @ outer) < LEAST_OUTER_MM * float(np.hypot(*inner)):
            continue  # the edge lies over the leg or inside it: nothing stands out that could bend
        bend = joints.direction(bearing[-1], panel.joints[-1]) - joints.direction(bearing[0], bearing[-1])
        angle = abs(float(np.arctan2(np.sin(bend.value), np.cos(bend.value)))) * DEG
        u = joints_u(profile, bend.gradient) * DEG
        if angle > max(BEND_DEG, 2 * u):
            out.append(
                Symptom(
                    kind=SymptomKind.BENT,
                    part=panel.name,
                    amount=angle,
                    half=_half_of(spec, panel.name),
                    worth=angle / BEND_DEG,
                )
            )
    return out


def joints_u(profile: Profile, gradient: Array) -> float:
    """Return the standard uncertainty of a quantity with this gradient on the joints."""
    return float(np.sqrt(max(float(gradient @ profile.cov_mm2 @ gradient), 0.0)))


def _distance_to(fit: PanelFit, point: Array) -> float:
    first, last = fit.line_mm[0], fit.line_mm[-1]
    along = (last - first) / np.hypot(*(last - first))
    gap = point - first
    return abs(float(along[0] * gap[1] - along[1] * gap[0]))


def _off_the_ridge(profile: Profile, spec: Spec) -> list[Symptom]:
    out = []
    for half in spec.mechanism.halves:
        fit = next((p for p in profile.panels if p.name == half.plane and p.found), None)
        ridge = next((p.joints[0] for p in spec.mechanism.panels if p.name == half.plane), "")
        if fit is None or len(fit.line_mm) < 2 or ridge not in profile.joints:
            continue
        off = _distance_to(fit, profile.at(ridge))
        if OFF_RIDGE_MM < off:
            out.append(
                Symptom(
                    kind=SymptomKind.OFF_RIDGE,
                    part=ridge,
                    amount=off,
                    half=half.name,
                    worth=off / OFF_RIDGE_MM,
                )
            )
    return out


def _opening(measured: Measured, spec: Spec) -> list[Symptom]:
    if "opening" in measured.assumed:
        return []
    seen, meant = measured.opening.value * DEG, spec.base.opening_deg
    off = seen - meant
    if abs(off) <= max(2 * measured.u(measured.opening) * DEG, 1.0):
        return []
    return [Symptom(kind=SymptomKind.OPENING, amount=seen, design=meant, half="", worth=abs(off))]


def symptoms_of(profile: Profile, measured: Measured, spec: Spec) -> tuple[Symptom, ...]:
    """Return what the photo shows beside the lengths, the most telling first."""
    joints = Joints(profile, len(profile.cov_mm2), misread_joints(profile, spec.mechanism))
    out = [
        *_bows(profile, spec),
        *_bent(profile, spec, joints),
        *_off_the_ridge(profile, spec),
        *_opening(measured, spec),
    ]
    return tuple(sorted(out, key=lambda s: -s.worth))


def candidate_for(leaning: Leaning, symptoms: tuple[Symptom, ...]) -> Symptom | None:
    """Return what most likely makes the part of a lean that no length explains."""
    return next((s for s in symptoms if s.half in (leaning.side, "")), None)
