"""A traced dummy and what was measured of it, made of the drawn dummy's joints; shared by tests."""

import numpy as np

from measure.profile import PanelFit, Profile
from measure.reasons import Unseen, WhyUnseen
from measure.tracing.trace_dummy import Traced
from measure.tracing.traced_shape import Half, Shape
from tests.helpers.drawn_dummy import at_opening

AT = {name: np.array(xy) for name, xy in at_opening(180.0).items()}


def traced_shape(corner: bool = True, spine_seen: bool = False) -> Shape:
    """The drawn dummy, lying flat, as a shape."""
    halves = {
        s: Half(
            edge=AT[f"plane edge {s}"],
            legs=((AT[f"outer foot {s}"], AT[f"leg top {s}"]),),
            score=500.0,
            corner=corner,
        )
        for s in ("left", "right")
    }
    return Shape(
        pages={s: (AT["spine"], AT[f"fore edge {s}"]) for s in ("left", "right")},
        flat=True,
        spine_seen=spine_seen,
        feet={s: AT[f"inner foot {s}"] for s in ("left", "right")},
        ridge=AT["ridge"],
        halves=halves,
        score=3000.0,
    )


def traced_profile(
    traced: Traced, missing: tuple[str, ...] = (), *, u_mm: float = 0.1, **moved: tuple[float, float]
) -> Profile:
    """A profile that finds every panel but the missing ones, with some joints moved (underscores: blanks)."""
    shift = {k.replace("_", " "): np.array(v) for k, v in moved.items()}
    at = {n: AT[n] + shift.get(n, 0.0) for n in traced.layout.joint_names if n in AT}
    gone = {j for p in traced.layout.panels if p.name in missing for j in p.joints[1:]}
    names = tuple(n for n in at if n not in gone or n == "ridge")
    panels = tuple(
        PanelFit(
            name=p.name,
            found=p.name not in missing,
            reason=None if p.name not in missing else WhyUnseen(kind=Unseen.NO_TRACE),
            line_mm=np.linspace(at[p.joints[0]], at[p.joints[-1]], 5),
            angle_rad=0.0,
            sagitta_mm=0.0,
            rms_mm=0.03,
            n_used=30,
            n_stations=32,
        )
        for p in traced.layout.panels
    )
    cov = np.eye(2 * len(names)) * u_mm**2
    return Profile(
        joints=names,
        xy_mm=np.array([at[n] for n in names]),
        cov_mm2=cov,
        cov_by_source={"edge fits": cov},
        extra_arc_mm={},
        panels=panels,
        undetermined={},
        standoff_mm=0.0,
    )
