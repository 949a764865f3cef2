"""Several photos in one adjustment: near ends placed in depth, parallax out, disagreement seen."""

from dataclasses import replace

import numpy as np
import pytest

from capture.arrays import Array
from measure.joints.joint_location import FreeEnd, locate_joints, near_end_prior
from measure.joints.many_photos import PARTLY, combine
from measure.measure_errors import MeasureError
from measure.profile import PanelFit, Profile
from tests.helpers.drawn_dummy import JOINTS, dummy_layout, exact_lines

EYES = [np.array(e) for e in ([0.0, 70.0, 600.0], [150.0, 60.0, 620.0], [-140.0, 190.0, 640.0])]
SD = 1.0
NOISE = 0.03
LAYOUT = replace(dummy_layout(), near_end_sd_mm=SD)
PANELS = [p.name for p in LAYOUT.panels]
LENGTHS = [
    ("inner foot right", "ridge"),
    ("inner foot left", "ridge"),
    ("outer foot right", "leg top right"),
    ("outer foot left", "leg top left"),
    ("inner foot right", "outer foot right"),
    ("ridge", "leg top left"),
    ("inner foot left", "inner foot right"),
]


def seen(xy: Array, forward: float, eye: Array) -> Array:
    """Where a point that stands `forward` mm in front of the plane z = 0 is seen in that plane."""
    return eye[:2] + (xy - eye[:2]) * eye[2] / (eye[2] - forward)


def photo(
    depth: dict[str, tuple[float, float]],
    eye: Array,
    rng: np.random.Generator,
    shared: dict[str, Array] | None = None,
) -> Profile:
    """One photo of the dummy whose near ends stand in front of the plane by these amounts at their ends.

    `shared` is what misleads the fits in every photo of this dummy alike.
    """
    lines = []
    part = PARTLY["edge fits"] if shared else 0.0
    for line in exact_lines(LAYOUT):
        d0, d1 = depth[line.name]
        off = np.sqrt(1 - part) * rng.normal(0, NOISE, 2)
        if shared:
            off = off + np.sqrt(part) * shared[line.name]
        noise = off[:, None] * line.curve.normal
        curve = replace(
            line.curve, a=seen(line.curve.a, d0, eye) + noise[0], b=seen(line.curve.b, d1, eye) + noise[1]
        )
        lines.append(
            replace(line, curve=curve, fit_cov=np.diag([NOISE, NOISE, 0.0]) ** 2 + 1e-12, layer_sd_mm=0.0)
        )
    ends = []
    for side in ("left", "right"):
        plane = next(line for line in lines if line.name == f"plane {side}")
        edge = seen(np.array(JOINTS[f"plane edge {side}"]), depth[f"plane {side}"][1], eye)
        along = float((edge - plane.curve.a) @ plane.curve.tangent)
        ends.append(FreeEnd(joint=f"plane edge {side}", panel=f"plane {side}", along_mm=along, err_mm=NOISE))
    joints = locate_joints(LAYOUT, lines, ends, eye_mm=eye, standoff_mm=0.0, near_end_sd_mm=SD)
    n = 2 * len(joints.names)
    sources = {**joints.cov_by_source, "view": np.zeros((n, n)), "standoff": np.zeros((n, n))}
    return Profile(
        joints=joints.names,
        xy_mm=joints.xy_mm,
        cov_mm2=np.sum(list(sources.values()), axis=0),
        cov_by_source=sources,
        extra_arc_mm={},
        panels=tuple(
            PanelFit(
                name=line.name,
                found=True,
                reason=None,
                line_mm=np.stack([line.curve.a, line.curve.b]),
                angle_rad=0.0,
                sagitta_mm=0.0,
                rms_mm=0.01,
                n_used=40,
                n_stations=40,
            )
            for line in lines
        ),
        undetermined=joints.undetermined,
        standoff_mm=0.0,
        near_ends=joints.panels,
        near_end_gain=joints.near_end_gain,
        near_end_sd_mm=SD,
    )


def drawn(rng: np.random.Generator) -> dict[str, tuple[float, float]]:
    values = rng.multivariate_normal(np.zeros(2 * len(PANELS)), near_end_prior(len(PANELS), SD))
    return {name: (float(a), float(b)) for name, (a, b) in zip(PANELS, values.reshape(-1, 2), strict=True)}


def length(profile: Profile, a: str, b: str) -> tuple[float, float]:
    """Distance of two joints and its standard uncertainty."""
    i, j = profile.joints.index(a), profile.joints.index(b)
    d = profile.xy_mm[j] - profile.xy_mm[i]
    gradient = np.zeros(2 * len(profile.joints))
    gradient[2 * j : 2 * j + 2] = d / np.hypot(*d)
    gradient[2 * i : 2 * i + 2] = -d / np.hypot(*d)
    return float(np.hypot(*d)), float(np.sqrt(gradient @ profile.cov_mm2 @ gradient))


def true(a: str, b: str) -> float:
    return float(np.hypot(*(np.array(JOINTS[a]) - np.array(JOINTS[b]))))


def test_three_photos_take_the_parallax_out_and_say_how_sure_they_are() -> None:
    rng = np.random.default_rng(5)
    one, three, ratio = [], [], []
    for _ in range(60):
        depth = drawn(rng)
        shared = {name: rng.normal(0, NOISE, 2) for name in PANELS}
        shots = [photo(depth, eye, rng, shared) for eye in EYES]
        joined = combine(shots).profile
        for a, b in LENGTHS:
            v, u = length(shots[0], a, b)
            one.append((v - true(a, b)) / u)
            v3, u3 = length(joined, a, b)
            three.append((v3 - true(a, b)) / u3)
            ratio.append(u3 / u)
    assert np.median(ratio) < 0.4
    # normalised errors of both have the spread that they claim (420 each, correlated within a dummy)
    assert np.std(one) == pytest.approx(1.0, abs=0.2)
    assert np.std(three) == pytest.approx(1.0, abs=0.2)


def test_near_ends_are_placed_in_depth_within_what_is_stated() -> None:
    rng = np.random.default_rng(6)
    normal = []
    for _ in range(40):
        depth = drawn(rng)
        joined = combine([photo(depth, eye, rng) for eye in EYES])
        for name in ("leg left", "leg right", "fold left", "fold right"):
            u = joined.near_end_u_mm[name]
            assert u < 0.6 * SD
            normal.append((joined.near_end_mm[name] - np.mean(depth[name])) / u)
    # a floor of 0.02 mm per joint, two thirds of the noise here, makes the statement cautious, never bold
    assert 0.55 < np.std(normal) < 1.1


def test_a_second_photo_from_the_same_place_does_not_place_near_ends() -> None:
    rng = np.random.default_rng(7)
    depth = drawn(rng)
    twice = combine([photo(depth, EYES[0], rng), photo(depth, EYES[0], rng)])
    assert min(twice.near_end_u_mm.values()) > 0.9 * np.sqrt(0.9) * SD


def test_moving_the_set_up_between_photos_is_seen_and_allowed() -> None:
    rng = np.random.default_rng(8)
    depth = drawn(rng)
    shots = [photo(depth, eye, rng) for eye in EYES]
    turn = np.radians(3.0)
    r = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    big = np.kron(np.eye(len(shots[1].joints)), r)
    moved = replace(
        shots[1],
        xy_mm=shots[1].xy_mm @ r.T + (12.0, -5.0),
        cov_by_source={k: big @ c @ big.T for k, c in shots[1].cov_by_source.items()},
        near_end_gain=big @ shots[1].near_end_gain,
    )
    joined = combine([shots[0], moved, shots[2]])
    assert joined.moved == (True, False)
    for a, b in LENGTHS:
        value, u = length(joined.profile, a, b)
        assert abs(value - true(a, b)) < 4 * u
        assert u < length(shots[0], a, b)[1]


def test_a_joint_misread_in_one_photo_is_named_and_hardly_counts() -> None:
    rng = np.random.default_rng(9)
    depth = drawn(rng)
    shots = [photo(depth, eye, rng) for eye in EYES]
    xy = shots[2].xy_mm.copy()
    xy[shots[2].joints.index("ridge")] += (3.0, 1.0)
    joined = combine([*shots[:2], replace(shots[2], xy_mm=xy)])
    assert joined.disagreements[0].joint == "ridge" and joined.disagreements[0].photo == 2
    assert joined.disagreements[0].apart_mm == pytest.approx(np.hypot(3, 1), abs=0.6)
    without = combine(shots).profile
    assert joined.profile.at("ridge") == pytest.approx(without.at("ridge"), abs=0.25)
    assert combine(shots).disagreements == ()


def test_photos_of_different_things_are_refused() -> None:
    rng = np.random.default_rng(10)
    shots = [photo(drawn(rng), eye, rng) for eye in EYES[:2]]
    few = replace(
        shots[1],
        joints=shots[1].joints[:3],
        xy_mm=shots[1].xy_mm[:3],
        cov_by_source={k: c[:6, :6] for k, c in shots[1].cov_by_source.items()},
        near_end_gain=shots[1].near_end_gain[:6],
    )
    with pytest.raises(MeasureError, match="only 3 joints in common"):
        combine([shots[0], few])


def test_the_adjustment_agrees_with_a_general_least_squares_solver() -> None:
    """The same model through scipy.optimize.least_squares (Levenberg-Marquardt, MINPACK)."""
    from scipy.optimize import least_squares

    rng = np.random.default_rng(11)
    depth = drawn(rng)
    shots = [photo(depth, eye, rng) for eye in EYES[:2]]
    joined = combine(shots)
    joints = list(joined.profile.joints)
    n, p = 2 * len(joints), 2 * len(PANELS)
    order = [PANELS.index(name) for name in shots[0].near_ends]
    spread = np.linalg.inv(np.linalg.cholesky(near_end_prior(len(PANELS), SD) + 1e-6 * np.eye(p)))
    whiten = [
        np.linalg.inv(np.linalg.cholesky(s.cov_by_source["edge fits"] + 0.02**2 * np.eye(n))) for s in shots
    ]
    centre = shots[0].xy_mm.mean(axis=0)

    def misfit(v: Array) -> Array:
        xy, delta, (tx, ty, turn) = v[:n].reshape(-1, 2), v[n : n + p], v[n + p :]
        columns = np.array([2 * k + c for k in order for c in (0, 1)])
        out = [spread @ delta, np.array([tx / 0.1, ty / 0.1, turn / np.radians(0.04)])]
        for k, (shot, w) in enumerate(zip(shots, whiten, strict=True)):
            d = shot.xy_mm - centre
            moved = np.column_stack([tx - turn * d[:, 1], ty + turn * d[:, 0]]) if k else 0.0
            out.append(w @ ((xy + moved).ravel() + shot.near_end_gain @ delta[columns] - shot.xy_mm.ravel()))
        return np.concatenate(out)

    start = np.concatenate([shots[0].xy_mm.ravel(), np.zeros(p + 3)])
    best = least_squares(misfit, start, method="lm")
    # robust weights leave clean photos alone, so both minimise the same sum
    assert joined.profile.xy_mm.ravel() == pytest.approx(best.x[:n], abs=0.01)
