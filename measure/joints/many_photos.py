"""Several photos of one dummy, taken from different places, made into one profile.

A near end that does not stand in the measured plane is seen displaced along the line to the camera, so two
photos disagree about it; from the disagreement follows how far in front of the plane each near end stands,
and the displacement is taken out. One linear least-squares adjustment does it. Unknown: every joint; the two
corners of every near end (with the spread stated in the design as prior); where sheet and dummy stood to each
other in every further photo (with a tight prior if nothing was moved). Observed: the joints of each photo.

Source: generalised least squares with prior information, as for a bundle of pictures; the estimate is linear
in the observations, so every source of uncertainty is propagated on its own through the same matrix.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag

from capture.arrays import Array
from measure.geometry import rigid_motion
from measure.joints.joint_location import near_end_prior
from measure.measure_errors import MeasureError
from measure.page_marks import SPINE_MARK
from measure.profile import PanelFit, Profile

COMMON = ("card layers", "print scale", SPINE_MARK)
"""Sources that displace every photo's joints alike (an apron hangs where it was hung): more do not help."""
PARTLY = {"edge fits": 0.75, "page level": 0.75}
"""What misleads a fit (a shadow, a tab, another layer) is partly the same in photos of one dummy; with no
such share U covered the angles from three path-traced photographs in 77 % of cases."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ManyPhotosNumbers:
    """Tuned numbers, found on path-traced photographs of known dummies, three photos each."""

    floor_mm: float = 0.02
    """No joint of one photo counts as known better than this."""
    still_mm: float = 1.0
    """Moved by less, and ..."""
    still_rad: float = float(np.deg2rad(0.4))
    """... turned by less: not moved, only seen a little differently, ..."""
    still_sd: tuple[float, float, float] = (0.1, 0.1, float(np.deg2rad(0.04)))
    """... by these standard deviations (mm, mm, rad), ..."""
    free_sd: tuple[float, float, float] = (200.0, 200.0, 1.0)
    """... while what was moved may have been moved anywhere."""
    huber: float = 2.0
    """Residuals beyond so many standard deviations count less (Huber's weights, iterated)."""
    rounds: int = 10
    """Iterations of these weights."""
    ridge_mm2: float = 1e-6
    """Added to the prior of near ends, so that it can be inverted."""
    apart_sd: float = 4.0
    """A joint that one photo shows beyond so many standard deviations, ..."""
    apart_mm: float = 0.4
    """... and by more than this, elsewhere than the others is named."""
    min_common: int = 4
    """Joints that two photos must have in common."""


TUNED = ManyPhotosNumbers()


@dataclass(frozen=True, slots=True, kw_only=True)
class Disagreement:
    """A joint that one photo shows elsewhere than the others, beyond what its uncertainty explains."""

    photo: int
    joint: str
    apart_mm: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Together:
    """One profile from several photos, in the sheet coordinates of the first.

    Attributes
    ----------
    profile : joints with the parallax of uneven near ends taken out.
    near_end_mm : panel -> how far its near end stands in front of the plane (mean of its two corners), mm.
    near_end_u_mm : panel -> standard uncertainty of that.
    moved : for every further photo, whether sheet and dummy were moved against each other.
    disagreements : joints on which the photos do not agree, worst first.
    """

    profile: Profile
    near_end_mm: dict[str, float]
    near_end_u_mm: dict[str, float]
    moved: tuple[bool, ...]
    disagreements: tuple[Disagreement, ...]


def _aligned(profile: Profile, onto: Profile) -> tuple[float, Array]:
    """Rotation (rad) and translation that bring a profile's joints best on to another's."""
    common = [j for j in profile.joints if j in onto.joints]
    if len(common) < TUNED.min_common:
        raise MeasureError(
            f"the photos have only {len(common)} joints in common; take them of the same dummy at the same "
            "opening, or check them one by one"
        )
    p = np.array([profile.at(j) for j in common])
    q = np.array([onto.at(j) for j in common])
    return rigid_motion(p, q)


def _rotation(turn: float) -> Array:
    c, s = np.cos(turn), np.sin(turn)
    return np.array([[c, -s], [s, c]])


def _turned(profile: Profile, turn: float, shift: Array) -> Profile:
    """Return the profile with its joints rotated and shifted."""
    r = _rotation(turn)
    big = np.kron(np.eye(len(profile.joints)), r)

    def line(fit: PanelFit) -> PanelFit:
        return replace(fit, line_mm=fit.line_mm @ r.T + shift, angle_rad=fit.angle_rad + turn)

    return replace(
        profile,
        xy_mm=profile.xy_mm @ r.T + shift,
        cov_mm2=big @ profile.cov_mm2 @ big.T,
        cov_by_source={k: big @ c @ big.T for k, c in profile.cov_by_source.items()},
        near_end_gain=big @ profile.near_end_gain,
        panels=tuple(line(fit) for fit in profile.panels),
    )


@dataclass(slots=True, eq=False)
class _System:
    """The stacked observation equations: y = A_x x + A_m m + E delta + e, and what is known of each part."""

    joints: list[str]
    panels: list[str]
    y: Array
    a_x: Array
    a_m: Array
    gain: Array
    owner: NDArray[np.intp]  # photo of every row
    own_cov: Array  # of e


def _own_cov(profile: Profile) -> Array:
    """Covariance of what is this photo's own: edges and view, not the near ends, not what all share."""
    shared = (*COMMON, "near ends", "standoff")
    own = [c for k, c in profile.cov_by_source.items() if k not in shared]
    out: Array = np.sum(own, axis=0) + TUNED.floor_mm**2 * np.eye(2 * len(profile.joints))
    return out


def _system(profiles: Sequence[Profile]) -> _System:
    joints = list(dict.fromkeys(j for p in profiles for j in p.joints))
    panels = list(dict.fromkeys(n for p in profiles for n in p.near_ends))
    rows = sum(2 * len(p.joints) for p in profiles)
    system = _System(
        joints=joints,
        panels=panels,
        y=np.concatenate([p.xy_mm.ravel() for p in profiles]),
        a_x=np.zeros((rows, 2 * len(joints))),
        a_m=np.zeros((rows, 3 * (len(profiles) - 1))),
        gain=np.zeros((rows, 2 * len(panels))),
        owner=np.repeat(np.arange(len(profiles)), [2 * len(p.joints) for p in profiles]),
        own_cov=block_diag(*[_own_cov(p) for p in profiles]),
    )
    at = 0
    centre = profiles[0].xy_mm.mean(axis=0)
    for i, p in enumerate(profiles):
        for k, joint in enumerate(p.joints):
            here = slice(at + 2 * k, at + 2 * k + 2)
            j = joints.index(joint)
            system.a_x[here, 2 * j : 2 * j + 2] = np.eye(2)
            if i:
                x, y = p.xy_mm[k] - centre
                system.a_m[here, 3 * i - 3 : 3 * i] = [[1, 0, -y], [0, 1, x]]
            for n, name in enumerate(p.near_ends):
                c = panels.index(name)
                system.gain[here, 2 * c : 2 * c + 2] += p.near_end_gain[2 * k : 2 * k + 2, 2 * n : 2 * n + 2]
        at += 2 * len(p.joints)
    return system


def _standoff_var(profile: Profile) -> float:
    """Variance of the standoff, from how it displaces the joints: all near ends forward together."""
    lever = profile.near_end_gain.sum(axis=1)
    return float(np.trace(profile.cov_by_source["standoff"]) / max(float(lever @ lever), 1e-12))


@dataclass(slots=True, eq=False)
class _Solution:
    x: Array
    motion: Array
    delta: Array
    delta_cov: Array
    gain: Array  # (2J, rows): how the joints move with the observations
    residual: Array


def _solve(system: _System, delta_prior: Array, motion_sd: Array) -> _Solution:
    """Adjust, down-weighting joints that one photo shows far from where all others have them."""
    a = np.hstack([system.a_x, system.a_m, system.gain])
    n_x, n_m = system.a_x.shape[1], system.a_m.shape[1]
    known = np.asarray(np.linalg.inv(delta_prior), dtype=np.float64)
    prior = block_diag(np.zeros((n_x, n_x)), np.diag(motion_sd**-2.0), known)
    sd = np.sqrt(np.diag(system.own_cov))
    doubt = np.ones(len(system.y))
    for _ in range(TUNED.rounds):
        w = np.linalg.inv(system.own_cov * np.sqrt(np.outer(doubt, doubt)))
        inverse = np.asarray(np.linalg.inv(a.T @ w @ a + prior), dtype=np.float64)
        gain = inverse @ a.T @ w
        solution = gain @ system.y
        residual = system.y - a @ solution
        # Both coordinates of a joint are doubted together.
        far = np.hypot(*(residual / sd).reshape(-1, 2).T) / np.sqrt(2)
        doubt = np.repeat(np.maximum(far / TUNED.huber, 1.0) ** 2, 2)
    return _Solution(
        x=solution[:n_x],
        motion=solution[n_x : n_x + n_m],
        delta=solution[n_x + n_m :],
        delta_cov=inverse[n_x + n_m :, n_x + n_m :],
        gain=gain[:n_x],
        residual=residual,
    )


def combine(profiles: Sequence[Profile]) -> Together:
    """Make one profile of several photos of the same dummy at the same opening.

    Parameters
    ----------
    profiles : two or more, as measured; the result is in the first one's sheet coordinates.

    Raises
    ------
    MeasureError : too few joints in common.
    """
    first = profiles[0]
    moves = [(0.0, np.zeros(2))] + [_aligned(p, first) for p in profiles[1:]]
    centre = first.xy_mm.mean(axis=0)
    # A photo of a dummy that was not moved is not brought on to the first: only the adjustment may shift it.
    still = [
        abs(turn) < TUNED.still_rad
        and np.hypot(*(_rotation(turn) @ centre + shift - centre)) < TUNED.still_mm
        for turn, shift in moves
    ]
    placed = [
        p if s else _turned(p, turn, shift)
        for p, s, (turn, shift) in zip(profiles, still, moves, strict=True)
    ]
    system = _system(placed)
    n_panels = len(system.panels)
    spread = near_end_prior(n_panels, max(p.near_end_sd_mm for p in profiles))
    together = _standoff_var(first) * np.ones((2 * n_panels, 2 * n_panels))
    motion_sd = np.concatenate([np.array(TUNED.still_sd if s else TUNED.free_sd) for s in still[1:]])
    solved = _solve(system, spread + together + TUNED.ridge_mm2 * np.eye(2 * n_panels), motion_sd)
    through = solved.gain @ system.gain
    sources = _sources(placed, system, solved, motion_sd)
    sources["near ends"] = through @ spread @ through.T
    sources["standoff"] = through @ together @ through.T
    mean = np.kron(np.eye(n_panels), [[0.5, 0.5]])
    depth, depth_u = mean @ solved.delta, np.sqrt(np.diag(mean @ solved.delta_cov @ mean.T))
    profile = replace(
        first,
        joints=tuple(system.joints),
        xy_mm=solved.x.reshape(-1, 2),
        cov_mm2=np.sum(list(sources.values()), axis=0),
        cov_by_source=sources,
        extra_arc_mm=_mean_arcs(profiles),
        panels=_panels(placed),
        undetermined={k: v for k, v in first.undetermined.items() if k not in system.joints},
        notes=tuple(dict.fromkeys(note for p in profiles for note in p.notes)),
        near_ends=tuple(system.panels),
        near_end_gain=through,
    )
    return Together(
        profile=profile,
        near_end_mm=dict(zip(system.panels, depth.tolist(), strict=True)),
        near_end_u_mm=dict(zip(system.panels, depth_u.tolist(), strict=True)),
        moved=tuple(not s for s in still[1:]),
        disagreements=_disagreements(placed, system, solved),
    )


def _sources(
    profiles: Sequence[Profile], system: _System, solved: _Solution, motion_sd: Array
) -> dict[str, Array]:
    """Covariance of the joints by source, near ends and standoff left out."""
    names = dict.fromkeys(k for p in profiles for k in p.cov_by_source)
    out: dict[str, Array] = {}
    for name in names:
        if name in ("near ends", "standoff"):
            continue
        parts = [p.cov_by_source.get(name, np.zeros((2 * len(p.joints),) * 2)) for p in profiles]
        share = 1.0 if name in COMMON else PARTLY.get(name, 0.0)
        apart = solved.gain @ block_diag(*parts) @ solved.gain.T
        out[name] = (1 - share) * apart + share * _common(profiles, system, parts)
    moved = solved.gain @ system.a_m
    out["moved between photos"] = (moved * motion_sd**2) @ moved.T
    return out


def _common(profiles: Sequence[Profile], system: _System, parts: Sequence[Array]) -> Array:
    """Mean of the photos' covariances, entry by entry, over the photos that show both joints."""
    size = 2 * len(system.joints)
    total, count = np.zeros((size, size)), np.zeros((size, size))
    for p, part in zip(profiles, parts, strict=True):
        at = np.array([2 * system.joints.index(j) + c for j in p.joints for c in (0, 1)])
        total[np.ix_(at, at)] += part
        count[np.ix_(at, at)] += 1
    out: Array = total / np.maximum(count, 1)
    return out


def _mean_arcs(profiles: Sequence[Profile]) -> dict[str, float]:
    names = dict.fromkeys(k for p in profiles for k in p.extra_arc_mm)
    return {n: float(np.mean([p.extra_arc_mm[n] for p in profiles if n in p.extra_arc_mm])) for n in names}


def _panels(profiles: Sequence[Profile]) -> tuple[PanelFit, ...]:
    """Take the first photo's fits; a panel it does not show is taken from the first photo that does."""
    out = []
    for fit in profiles[0].panels:
        shown = [f for p in profiles for f in p.panels if f.name == fit.name and f.found]
        out.append(shown[0] if shown else fit)
    return tuple(out)


def _disagreements(
    profiles: Sequence[Profile], system: _System, solved: _Solution
) -> tuple[Disagreement, ...]:
    sd = np.sqrt(np.diag(system.own_cov))
    out: list[Disagreement] = []
    at = 0
    for i, p in enumerate(profiles):
        for k, joint in enumerate(p.joints):
            r = solved.residual[at + 2 * k : at + 2 * k + 2]
            apart = float(np.hypot(*r))
            far = float(np.hypot(*(r / sd[at + 2 * k : at + 2 * k + 2])))
            if far > TUNED.apart_sd and apart > TUNED.apart_mm:
                out.append(Disagreement(photo=i, joint=joint, apart_mm=apart))
        at += 2 * len(p.joints)
    return tuple(sorted(out, key=lambda d: -d.apart_mm))
