"""Made-up profiles of any mechanism: joints from the linkage, lifted by the card below them as in a photo."""

from collections.abc import Mapping

import numpy as np

from compare.design.expected_layout import layout_of
from compare.design.spec.spec import Spec
from measure.profile import PanelFit, Profile
from measure.reasons import Unseen, WhyUnseen
from tests.helpers.made_profiles import covariance


def any_profile(
    spec: Spec, changes: Mapping[str, float] | None = None, *, spine: bool = False, noise: float = 0.06
) -> Profile:
    """Profile of a dummy whose lengths are off by `changes` (mm); without the spine unless asked for."""
    mechanism, layout = spec.mechanism, layout_of(spec)
    lengths = dict(mechanism.lengths)
    for name, d in (changes or {}).items():
        lengths[name] += d
    phi = np.radians(spec.base.opening_deg)
    made, meant = mechanism.solve(lengths, phi).joints, mechanism.solve({}, phi).joints
    gone = set() if spine else {"spine", "fore edge left", "fore edge right"}
    at = {j: made[j] + layout.at(j) - meant[j] for j in layout.joint_names if j not in gone}
    names = tuple(at)
    parts = covariance(len(names), noise=noise)
    panels = []
    for panel in layout.panels:
        seen = [at[j] for j in panel.joints if j in at]
        if len(seen) > 1:
            way = seen[-1] - seen[0]
            panels.append(
                PanelFit(
                    name=panel.name,
                    found=True,
                    reason=None,
                    line_mm=np.array([seen[0], seen[-1]]),
                    angle_rad=float(np.arctan2(way[1], way[0])),
                    sagitta_mm=0.0,
                    rms_mm=0.02,
                    n_used=50,
                    n_stations=55,
                )
            )
    return Profile(
        joints=names,
        xy_mm=np.array([at[j] for j in names]),
        cov_mm2=parts["line fits"],
        cov_by_source=parts,
        extra_arc_mm={},
        panels=tuple(panels),
        undetermined={j: WhyUnseen(kind=Unseen.SPINE_UNMARKED) for j in gone},
        standoff_mm=0.0,
    )
