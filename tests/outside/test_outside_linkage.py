"""Four-bars against the outside world: a textbook, Grashof's rule, a linkage package, least squares."""

from pathlib import Path

import numpy as np
import pytest

from compare.design.linkage.four_bar import four_bar
from compare.design.load_spec import load_spec
from tests.helpers.linkage_by_newton import NAMES, by_least_squares, by_linkage_package

SAMPLES = Path(__file__).parents[2] / "sample_images"


def couplers(a: float, b: float, c: float, d: float, theta2: float, branch: int) -> tuple[float, float]:
    """Coupler and rocker angles (degrees) of a textbook four-bar: crank a, coupler b, rocker c, ground d.

    Corner O is the crank's pivot; the crank's end is P on arm a at theta2, the rocker's pivot Q on arm d.
    """
    at_p, at_q = four_bar(a, d, b, c, np.radians(theta2), branch=branch)
    theta3 = theta2 - np.degrees(at_p)  # from the continuation of the crank, turning inwards
    theta4 = np.degrees(at_q)  # from the continuation of the ground
    return float((theta3 + 180) % 360 - 180), float((theta4 + 180) % 360 - 180)


@pytest.mark.parametrize(
    ("lengths", "theta2", "opened", "crossed"),
    [
        # Norton, Design of Machinery, example 4-1: values recalled from memory (to 0.01)
        ((40, 120, 80, 100), 40.0, (20.30, 57.33), (-60.98, -98.01)),
        # the same book, table P4-1 row a: values recalled from memory
        ((2, 7, 9, 6), 30.0, (88.84, 117.29), (-115.21, -143.66)),
    ],
)
def test_textbook_positions(
    lengths: tuple[float, ...], theta2: float, opened: tuple[float, float], crossed: tuple[float, float]
) -> None:
    for branch, (theta3, theta4) in ((1, opened), (-1, crossed)):
        got3, got4 = couplers(*lengths, theta2, branch)
        assert (got3, got4) == pytest.approx((theta3, theta4), abs=0.011)
        a, b, c, d = lengths  # the loop itself is the stronger test
        t2, t3, t4 = (np.radians(v) for v in (theta2, got3, got4))
        loop = a * np.exp(1j * t2) + b * np.exp(1j * t3) - c * np.exp(1j * t4) - d
        assert abs(loop) < 1e-9


@pytest.mark.parametrize(
    ("ground", "turns"),
    [(100.0, True), (120.0, True), (80.0, True), (60.0, False)],  # 80: the equality, as in every pop-up
)
def test_grashof(ground: float, turns: bool) -> None:
    """Shortest + longest <= the other two: the shortest turns right round (Grashof's rule, any textbook).

    If it is larger, somewhere in the turn the loop cannot be assembled; if equal, as in every pop-up that
    shuts, it just can, through the flat positions.
    """
    a, b, c, d = 40.0, 120.0, 80.0, ground
    shortest, *others, longest = sorted((a, b, c, d))
    assert (shortest + longest <= sum(others)) == turns and shortest == a
    theta = np.radians(np.linspace(0.25, 179.75, 719))
    assert bool(np.isfinite(four_bar(a, d, b, c, theta)[0]).all()) == turns


@pytest.mark.parametrize("fault", [0.0, -1.0])
def test_against_a_linkage_package_and_least_squares(fault: float) -> None:
    """The right half of the ferry, from 175 to 40 degrees, with and without a short leg."""
    pytest.importorskip("pylinkage")
    m = load_spec(SAMPLES / "good_arch.toml").mechanism
    n = {**m.lengths, "leg right": m.lengths["leg right"] + fault}
    degrees = np.linspace(175.0, 40.0, 136)
    ours = m.solve(n, np.radians(degrees)).joints
    for other, slack in ((by_linkage_package(n, degrees), 1e-8), (by_least_squares(n, degrees[::9]), 1e-6)):
        for name in NAMES:
            theirs = other[name]
            mine = ours[name] if len(theirs) == len(degrees) else ours[name][::9]
            np.testing.assert_allclose(theirs, mine, atol=slack, err_msg=name)
