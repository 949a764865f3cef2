"""Made-up profiles for the tests of the compare room: joints from the linkage, with known faults."""

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from capture.arrays import Array
from compare.design.load_spec import load_spec
from compare.design.spec.spec import Spec
from measure.profile import PanelFit, Profile
from measure.reasons import Unseen, WhyUnseen

TWO_SIDED = """
title = "The lighthouse keeper's kitchen"
units = "mm"
[base]
page = 148.5
depth = 210
[fold]
left = 40
right = 40
foot_left = 12
foot_right = 12
[left]
leg = 40
page_spacing = 60
plane_spacing = 60
[right]
leg = 40
page_spacing = 60
plane_spacing = 60
[plane]
left = 90
right = 90
[tolerance]
length = 0.8
matched = 0.8
"""
ONE_SIDED = """
[base]
page = 148.5
[fold]
left = 40
right = 40
foot_left = 12
foot_right = 12
[right]
leg = 40
page_spacing = 60
plane_spacing = 60
[plane]
right = 70
[tolerance]
length = 0.8
"""
ASYMMETRIC = """
[base]
page = 148.5
[fold]
left = 48
right = 40
foot_left = 12
foot_right = 20
[left]
leg = 48
page_spacing = 60
plane_spacing = 60
[right]
leg = 40
page_spacing = 55
plane_spacing = 55
[plane]
left = 70
right = 70
[tolerance]
length = 0.8
"""


ORDER = (
    "spine",
    *(f"{j} left" for j in ("inner foot", "fore edge", "outer foot", "leg top", "plane edge")),
    "inner foot right",
    "ridge",
    *(f"{j} right" for j in ("fore edge", "outer foot", "leg top", "plane edge")),
)
"""Order of the joints in a profile (random disturbances follow it)."""


def spec_of(text: str, folder: Path, name: str = "spread.toml") -> Spec:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return load_spec(path)


def covariance(
    n: int, *, noise: float = 0.06, scale: float = 0.0, xy: Array | None = None
) -> dict[str, Array]:
    """Independent joint noise, and a common scale error (relative sd) about the mean of the joints."""
    out = {"line fits": np.eye(2 * n) * noise**2}
    if scale and xy is not None:
        arm = (xy - xy.mean(axis=0)).ravel()
        out["print scale"] = np.outer(arm, arm) * scale**2
    return out


def profile_of(
    spec: Spec,
    changes: Mapping[str, float] | None = None,
    *,
    spine: bool = False,
    opening_deg: float | None = None,
    noise: float = 0.06,
    scale: float = 0.0,
    missing: tuple[str, ...] = (),
    rng: np.random.Generator | None = None,
    shift: tuple[float, float, float] = (7.0, -31.0, 0.4),
) -> Profile:
    """Profile of a dummy whose lengths are off by `changes` (mm), seen with independent joint noise (sd mm).

    `spine` False leaves out the spine and the fore edges, as a photo of a flat base does. With `rng` the
    joints are disturbed as the covariance says.
    """
    lengths = spec.lengths()
    for name, d in (changes or {}).items():
        lengths[name] += d
    phi = np.radians(spec.base.opening_deg if opening_deg is None else opening_deg)
    solved = spec.mechanism.solve(lengths, phi).joints
    joints = {
        k: solved[k] for k in (*(j for j in ORDER if j in solved), *(j for j in solved if j not in ORDER))
    }
    gone = set(missing)
    if not spine:
        gone |= {"spine", "fore edge left", "fore edge right"}
    names = tuple(j for j in joints if j not in gone)
    turn = np.radians(shift[2])
    rot = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    xy = np.array([joints[j] for j in names]) @ rot.T + np.array(shift[:2])
    parts = covariance(len(names), noise=noise, scale=scale, xy=xy)
    cov = sum(parts.values(), np.zeros((2 * len(names),) * 2))
    if rng is not None:
        xy = xy + rng.multivariate_normal(np.zeros(2 * len(names)), cov).reshape(-1, 2)
    return Profile(
        joints=names,
        xy_mm=xy,
        cov_mm2=cov,
        cov_by_source=parts,
        extra_arc_mm={},
        panels=_panels(names, xy),
        undetermined={
            j: WhyUnseen(kind=Unseen.SPINE_UNMARKED if j == "spine" else Unseen.NOT_LOOKED_FOR)
            for j in sorted(gone)
        },
        standoff_mm=0.0,
    )


def _panels(names: tuple[str, ...], xy: Array) -> tuple[PanelFit, ...]:
    at = dict(zip(names, xy, strict=True))
    runs = []
    for s in ("left", "right"):
        runs += [
            (f"page {s}", ("spine", f"inner foot {s}", f"outer foot {s}", f"fore edge {s}")),
            (f"fold {s}", (f"inner foot {s}", "ridge")),
            (f"leg {s}", (f"outer foot {s}", f"leg top {s}")),
            (f"plane {s}", ("ridge", f"leg top {s}", f"plane edge {s}")),
        ]
    out = []
    for name, joints in runs:
        seen = [at[j] for j in joints if j in at]
        if len(seen) < 2:
            continue
        line = np.array([seen[0], seen[-1]])
        d = line[1] - line[0]
        out.append(
            PanelFit(
                name=name,
                found=True,
                reason=None,
                line_mm=line,
                angle_rad=float(np.arctan2(d[1], d[0])),
                sagitta_mm=0.0,
                rms_mm=0.02,
                n_used=50,
                n_stations=55,
            )
        )
    return tuple(out)
