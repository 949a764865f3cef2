"""The linkage against a textbook, against itself, and against the working paper's independent solver."""

import numpy as np
import pytest

from capture.arrays import Array
from compare.design.constructions.leg_and_plane.leg_form import Leg, Plane
from compare.design.constructions.parallel_fold.fold_form import Fold, Stage
from compare.design.constructions.stages.stages_mechanism import mechanism_of_stages
from compare.design.linkage.four_bar import four_bar
from compare.design.spec.parts import Base
from compare.design.study.contact import binding_opening
from measure.sides import SIDES

LEG = Leg(leg=40.0, page_spacing=60.0, plane_spacing=60.0)
M = mechanism_of_stages(
    Base(page_left=148.5, page_right=148.5, depth=None, opening_deg=180.0, thickness=0.3),
    [
        Stage(
            fold=Fold(left=40.0, right=40.0, foot_left=12.0, foot_right=12.0),
            plane=Plane(left=70.0, right=70.0),
            legs={"left": (LEG,), "right": (LEG,)},
        )
    ],
)
"""The nominal dummy of the tables: foot 12, fold 40, spacing 60."""
solve = M.solve
BASE = {"foot left": 12.0, "foot right": 12.0, "fold left": 40.0, "fold right": 40.0}


def dummy(**right: float) -> dict[str, float]:
    """Its lengths, with changes on the right side."""
    out = dict(M.lengths)
    for name, d in right.items():
        out[name.replace("_", " ") + " right"] += d
    return out


def textbook_angles(
    a: float, b: float, c: float, d: float, theta2: float, branch: int
) -> tuple[float, float]:
    """theta3 and theta4 of a four-bar in the textbook's frame, from the kernel.

    The kernel's corner O is the crank pin's ground pivot: sides a (crank) and d (ground) with theta2 between,
    far corner with coupler b (on the crank) and rocker c (on the ground).
    """
    at_crank, at_ground = four_bar(a, d, b, c, np.radians(theta2), branch=branch)
    theta3 = theta2 - np.degrees(float(at_crank))
    theta4 = np.degrees(float(at_ground))
    wrap = lambda x: (x + 180) % 360 - 180  # noqa: E731
    return float(wrap(theta3)), float(wrap(theta4))


@pytest.mark.parametrize(
    ("links", "theta2", "branch", "theta3", "theta4"),
    [
        # R. L. Norton, Design of Machinery, Example 4-1; values recalled from memory.
        ((40, 120, 80, 100), 40.0, 1, 20.30, 57.33),
        ((40, 120, 80, 100), 40.0, -1, -60.98, -98.01),
        # Norton, Table P4-1 row a (d 6, a 2, b 7, c 9); angles recalled from memory.
        ((2, 7, 9, 6), 30.0, 1, 88.84, 117.29),
        ((2, 7, 9, 6), 30.0, -1, -115.21, -143.66),
    ],
)
def test_textbook_four_bar(
    links: tuple[float, ...], theta2: float, branch: int, theta3: float, theta4: float
) -> None:
    a, b, c, d = links
    got3, got4 = textbook_angles(a, b, c, d, theta2, branch)
    assert got3 == pytest.approx(theta3, abs=0.01)  # printed to 0.01 degrees
    assert got4 == pytest.approx(theta4, abs=0.01)
    # Freudenstein's equation (K1 cos t4 - K2 cos t2 + K3 = cos(t2 - t4)), and the loop must close.
    t2, t3, t4 = np.radians([theta2, got3, got4])
    k1, k2, k3 = d / a, d / c, (a * a - b * b + c * c + d * d) / (2 * a * c)
    assert k1 * np.cos(t4) - k2 * np.cos(t2) + k3 == pytest.approx(np.cos(t2 - t4), abs=1e-12)
    loop = a * np.exp(1j * t2) + b * np.exp(1j * t3) - c * np.exp(1j * t4) - d
    assert abs(loop) < 1e-10 * d


def closure(lengths: dict[str, float], phi: Array) -> float:
    """Largest misfit of any link's length, mm, over all openings."""
    p = solve(lengths, phi).joints
    gap = 0.0
    for s in SIDES:
        for a, b, name in (
            ("spine", f"inner foot {s}", f"foot {s}"),
            (f"inner foot {s}", "ridge", f"fold {s}"),
            (f"inner foot {s}", f"outer foot {s}", f"page spacing {s}"),
            ("ridge", f"leg top {s}", f"plane spacing {s}"),
            (f"outer foot {s}", f"leg top {s}", f"leg {s}"),
            ("ridge", f"plane edge {s}", f"plane {s}"),
        ):
            r = np.hypot(*(p[b] - p[a]).T)
            gap = max(gap, float(np.nanmax(np.abs(r - lengths[name]))))
    return gap


def test_loops_close_for_random_dummies() -> None:
    rng = np.random.default_rng(5)
    phi = np.radians(np.linspace(60, 180, 25))
    for _ in range(200):
        lengths = {k: v + rng.normal(0, 1.0) for k, v in dummy().items()}
        assert closure(lengths, phi) < 1e-9


def test_closes_to_the_limit_without_losing_digits() -> None:
    phi = np.radians([1e-4, 1e-3, 0.01, 0.1, 1.0])
    assert closure(dummy(), phi) < 1e-9
    assert np.max(np.abs(solve(dummy(), phi).lean["right"])) < 1e-9


# Working paper, section 3 and 4: checked there against an independent rigid-panel solver.
TABLE = [
    (180, 38.1576, 107.4576, 60.0000, 38.1576),
    (150, 41.3896, 91.8447, 57.9555, 56.9187),
    (120, 44.6264, 75.0586, 51.9615, 74.6264),
    (90, 47.5749, 57.2473, 42.4264, 90.0013),
    (60, 49.9397, 38.6269, 30.0000, 101.9013),
    (30, 51.4704, 19.4533, 15.5291, 109.4259),
    (0, 52.0000, 0.0000, 0.0000, 112.0000),
]


@pytest.mark.parametrize(("deg", "ridge_y", "psi", "x", "y"), TABLE)
def test_symmetric_dummy_table(deg: float, ridge_y: float, psi: float, x: float, y: float) -> None:
    pose = solve(dummy(), np.radians(deg))
    assert pose.joints["ridge"] == pytest.approx([0, ridge_y], abs=6e-5)
    assert np.degrees(pose.angles["fold right"]) == pytest.approx(psi, abs=6e-5)
    assert pose.joints["leg top right"] == pytest.approx([x, y], abs=6e-5)
    assert pose.joints["leg top left"] == pytest.approx([-x, y], abs=6e-5)
    assert float(pose.lean["right"]) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("change", "at180", "at90", "error"),
    [
        ({"leg": -2}, -2.0196, -2.2658, 2),
        ({"leg": 2}, 1.9875, 2.2767, -2),
        ({"plane_spacing": 2}, 0.5282, -1.2598, 2),
        ({"page_spacing": 2}, -0.6580, 1.1579, -2),
        ({"leg": -2, "page_spacing": 2}, -2.7298, -1.0540, 0),
    ],
)
def test_lean_table(change: dict[str, float], at180: float, at90: float, error: float) -> None:
    lengths = dummy(**change)
    assert np.degrees(solve(lengths, np.pi).lean["right"]) == pytest.approx(at180, abs=6e-5)
    assert np.degrees(solve(lengths, np.pi / 2).lean["right"]) == pytest.approx(at90, abs=6e-5)
    assert M.closing_errors(lengths)["right"] == pytest.approx(error)
    assert float(solve(lengths, np.pi).lean["left"]) == pytest.approx(0, abs=1e-9)


def test_gradient_table() -> None:
    rates = {k: np.degrees(v) for k, v in M.lean_rates(dummy(), np.pi, "right").items()}
    # section 4, degrees per mm at 180; the fold counts with both its sides together
    assert rates["leg right"] == pytest.approx(1.0010, abs=6e-5)
    assert rates["plane spacing right"] == pytest.approx(0.3003, abs=6e-5)
    assert rates["page spacing right"] == pytest.approx(-0.3003, abs=6e-5)
    assert rates["fold right"] + rates["fold left"] == pytest.approx(-1.0010, abs=6e-5)
    assert rates["foot left"] == pytest.approx(0, abs=1e-6)
    at90 = {k: np.degrees(v) for k, v in M.lean_rates(dummy(), np.pi / 2, "right").items()}
    assert at90["leg right"] == pytest.approx(1.1355, abs=6e-5)
    assert at90["plane spacing right"] == pytest.approx(-0.6143, abs=6e-5)


def test_oblique_plane_by_design() -> None:
    lengths = dummy(page_spacing=-5, plane_spacing=3, leg=8)
    leans = np.degrees(solve(lengths, np.radians([180, 150, 120, 90, 60, 30])).lean["right"])
    assert leans == pytest.approx([8.7724, 6.9397, 5.3118, 3.8457, 2.4988, 1.2301], abs=6e-5)


def test_one_side_ridge_rates() -> None:
    """Section 3: one fold side only moves the ridge sideways by B/(2c), one foot only by -1/2."""
    d = 1e-5
    moved = solve({**BASE, "fold left": 40 + d}, np.pi).joints["ridge"] - solve(BASE, np.pi).joints["ridge"]
    assert moved[0] / d == pytest.approx(1.6667, abs=1e-4)
    moved = solve({**BASE, "foot left": 12 + d}, np.pi).joints["ridge"] - solve(BASE, np.pi).joints["ridge"]
    assert moved[0] / d == pytest.approx(-0.5, abs=1e-4)


@pytest.mark.parametrize(
    ("name", "d", "phi_b"),
    [
        ("fold left", 0.1, 6.4950),
        ("foot left", 0.1, 6.4600),
        ("fold left", 0.5, 14.5911),
        ("foot left", 0.5, 14.2052),
        ("fold left", 2.0, 29.7048),
        ("foot left", 2.0, 26.7655),
    ],
)
def test_fold_jams_where_the_closed_form_says(name: str, d: float, phi_b: float) -> None:
    got = binding_opening(M, {**BASE, name: BASE[name] + d}, np.pi)
    assert np.degrees(got) == pytest.approx(phi_b, abs=6e-5)


@pytest.mark.parametrize(
    ("d", "phi_b"),
    [(-0.5, 10.8105), (-1, 15.3092), (-2, 21.7102), (0.5, 8.4318), (1, 11.9662), (2, 17.0408)],
)
def test_leg_jams_where_the_closed_form_says(d: float, phi_b: float) -> None:
    lengths = dummy(leg=d)
    lengths["leg left"] += d
    assert np.degrees(binding_opening(M, lengths, np.pi)) == pytest.approx(phi_b, abs=6e-5)


def test_exact_dummy_does_not_jam() -> None:
    assert binding_opening(M, dummy(), np.pi) == 0.0


def test_opening_limit() -> None:
    """Section 4: spacing 60 and 50, fold 40, leg 30 closes but stops at 174.0878 degrees."""
    lengths = dummy(leg=-10, plane_spacing=-10)
    assert M.closing_errors(lengths)["right"] == 0
    assert np.isfinite(solve(lengths, np.radians(174.087)).lean["right"])
    assert np.isnan(solve(lengths, np.radians(174.089)).lean["right"])


def test_closed_reach_is_never_exceeded() -> None:
    """Triangle inequality: no point is farther from the spine than when shut."""
    lengths = dummy()
    reach = max(float(r.total(lengths)) for r in M.reaches if r.side == "right")
    assert reach == 12 + 40 + 70
    pose = solve(lengths, np.radians(np.linspace(0, 180, 181)))
    for name in ("ridge", "leg top right", "plane edge right"):
        assert np.max(np.hypot(*pose.joints[name].T)) <= reach + 1e-9


def test_samples_and_openings_broadcast() -> None:
    rng = np.random.default_rng(1)
    many = {k: v + rng.normal(0, 0.3, (50, 1)) for k, v in dummy().items()}
    pose = solve(many, np.radians([120.0, 150.0, 180.0]))
    assert pose.lean["right"].shape == (50, 3)
    one = {k: float(v[7, 0]) for k, v in many.items()}
    assert pose.joints["ridge"][7, 1] == pytest.approx(
        solve(one, np.radians(150.0)).joints["ridge"], abs=1e-12
    )


def test_spread_of_hand_cut_dummies() -> None:
    """Section 10: sd of the lean 0.7417 degrees at 180 for every length off by sd 0.5 mm."""
    rng = np.random.default_rng(2)
    n = 200_000
    lengths = {k: v + rng.normal(0, 0.5, n) for k, v in dummy().items()}
    # that table varies the fold's two sides together (a symmetric tent)
    lengths["fold left"], lengths["foot left"] = lengths["fold right"], lengths["foot right"]
    lean = np.degrees(solve(lengths, np.pi).lean["right"])
    assert np.std(lean) == pytest.approx(0.7417, abs=0.005)  # 200,000 draws fix it to 0.0012
    assert np.mean(np.abs(lean) < 1) == pytest.approx(0.8234, abs=0.004)
