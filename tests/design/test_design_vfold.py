"""V-folds and pillars: angles on the sphere, planes that travel and nod, legs that must copy the panels.

Figures quoted are those of the project's own derivation, which agreed there with an independent solver (rigid
panels in space, hinges as coincident points); the vectors below check them once more.
"""

from pathlib import Path

import numpy as np
import pytest

from compare.design.constructions.v_fold.carry_plane import crease_of
from compare.design.linkage.mechanism import Mechanism
from compare.design.linkage.spherical import angle_beside, far_corner, panel_angles
from compare.design.load_spec import load_spec
from compare.design.study.contact import binding_opening

SAMPLES = Path(__file__).parents[2] / "sample_images"


def rad(*deg: float) -> list[np.ndarray]:
    return [np.array(np.radians(d)) for d in deg]


def crease(phi: float, left: tuple[float, float], right: tuple[float, float]) -> np.ndarray:
    """Crease of a V-fold from (glue, panel) angles in degrees."""
    beta = {"left": rad(left[0])[0], "right": rad(right[0])[0]}
    alpha = {"left": rad(left[1])[0], "right": rad(right[1])[0]}
    return crease_of(np.array(np.radians(phi) / 2), beta, alpha)[0]


def test_spherical_triangle_identities() -> None:
    """Law of cosines and law of sines on the sphere (Todhunter, 1886, art. 37 and 41)."""
    rng = np.random.default_rng(11)
    a, b, theta = rng.uniform(0.2, 1.4, 50), rng.uniform(0.2, 1.4, 50), rng.uniform(0.1, 3.0, 50)
    d = np.arccos(np.cos(a) * np.cos(b) + np.sin(a) * np.sin(b) * np.cos(theta))
    at_p, at_q = angle_beside(a, b, theta), angle_beside(b, a, theta)
    np.testing.assert_allclose(np.sin(at_p) / np.sin(b), np.sin(theta) / np.sin(d), rtol=1e-10)
    np.testing.assert_allclose(np.sin(at_q) / np.sin(a), np.sin(theta) / np.sin(d), rtol=1e-10)
    p, q = rng.uniform(0.9, 1.3, 50), rng.uniform(0.9, 1.3, 50)
    rho = far_corner(a, b, p, q, theta)
    ok = np.isfinite(rho)
    assert ok.sum() > 20
    across = np.cos(p) * np.cos(q) + np.sin(p) * np.sin(q) * np.cos(rho)
    np.testing.assert_allclose(across[ok], np.cos(d)[ok], atol=1e-10)


def test_octant() -> None:
    """Three right angles: all sides and corners 90 degrees."""
    quarter = np.array(np.pi / 2)
    assert far_corner(quarter, quarter, quarter, quarter, quarter) == pytest.approx(np.pi / 2)
    assert angle_beside(quarter, quarter, quarter) == pytest.approx(np.pi / 2)


@pytest.mark.parametrize(
    ("phi", "eta45_90", "chi45_90", "eta45_60", "chi45_60"),
    [
        (180, 90.0, 90.0, 45.0, 125.2644),
        (120, 116.5651, 50.7685, 77.3335, 77.3335),
        (90, 125.2644, 35.2644, 90.0, 54.7356),
        (1e-6, 135.0, 0.0, 105.0, 0.0),
    ],
)
def test_elevation_of_the_crease(
    phi: float, eta45_90: float, chi45_90: float, eta45_60: float, chi45_60: float
) -> None:
    for alpha, eta, chi in ((90.0, eta45_90, chi45_90), (60.0, eta45_60, chi45_60)):
        k = crease(phi, (45, alpha), (45, alpha))
        assert float(np.degrees(np.arctan2(k[1], k[2]))) == pytest.approx(eta, abs=6e-5)
        assert abs(float(k[0])) < 1e-12
        got, _ = panel_angles(*rad(45, 45, alpha, alpha), np.array(np.radians(phi)))
        assert float(np.degrees(got)) == pytest.approx(chi, abs=6e-5)


def test_uneven_v_fold_by_vectors() -> None:
    for phi in (180.0, 140.0, 77.0, 12.0):
        k = crease(phi, (30, 80), (45, 65))
        h = np.radians(phi) / 2
        for sign, glue, panel in ((-1, 30, 80), (1, 45, 65)):
            b = np.radians(glue)
            line = np.array([sign * np.sin(b) * np.sin(h), np.sin(b) * np.cos(h), np.cos(b)])
            assert float(k @ line) == pytest.approx(np.cos(np.radians(panel)), abs=1e-10)
        assert float(np.linalg.norm(k)) == pytest.approx(1.0) and float(k[1]) > 0
    leaves = np.degrees(np.arcsin(abs(float(crease(180, (30, 80), (45, 65))[0]))))
    assert leaves == pytest.approx(14.5835, abs=6e-5)  # the crease leaves the middle plane by this


def test_opens_to_flat_only_if_the_panel_angle_is_large_enough() -> None:
    """sin(phi_max / 2) = sin alpha / sin beta: 40 in 50 stops at 114.0903 degrees."""
    assert np.isfinite(crease(114.09, (50, 40), (50, 40))).all()
    assert not np.isfinite(crease(114.091, (50, 40), (50, 40))).any()


V = """
[base]
page = 148.5
depth = 150
[vfold]
crease = 40
near = 40
[vfold.left]
glue_angle = 45
angle = 90
width = 40
plane_angle = {drawn}
[vfold.right]
glue_angle = 45
angle = 90
width = 40
plane_angle = {drawn}
{legs}
[plane]
left = 90
right = 90
"""
LEG = "[{side}]\nleg = 40\npage_spacing = 50\nplane_spacing = 50\n"


def carrying(folder: Path, legs: str = "", drawn: float = 45.0) -> Mechanism:
    path = folder / "spread.toml"
    path.write_text(V.format(legs=legs, drawn=drawn), encoding="utf-8")
    return load_spec(path).mechanism


def test_plane_stays_parallel_and_travels(tmp_path: Path) -> None:
    m = carrying(tmp_path, LEG.format(side="left") + LEG.format(side="right"))
    pose = m.solve({}, np.radians([180.0, 120.0, 60.0, 1e-5]))
    assert np.degrees(pose.lean["right"]) == pytest.approx(np.zeros(4), abs=1e-6)
    assert np.degrees(pose.nod) == pytest.approx(np.zeros(4), abs=1e-6)
    z = pose.points["ridge"][:, 2]
    assert z[0] - z[-1] == pytest.approx(28.2843, abs=6e-5)  # fore and aft
    assert [float(np.abs(v).max()) < 1e-9 for v in pose.stretch.values()] == [True, True]


@pytest.mark.parametrize(
    ("drawn", "nods"),
    [
        (45.25, (-5.3602, -0.9384, -0.4968, -0.3528)),
        (45.5, (-7.5914, -1.8279, -0.9874, -0.7041)),
    ],
)
def test_wrongly_drawn_plane_nods(tmp_path: Path, drawn: float, nods: tuple[float, ...]) -> None:
    """Two signs are possible at 180 (it can snap through); on the way there it is the one of small angles."""
    m = carrying(tmp_path, drawn=45.0)
    n = {**m.lengths, "plane angle left": drawn, "plane angle right": drawn}
    nod = np.degrees(m.solve(n, np.radians([180.0, 150.0, 120.0, 90.0])).nod)
    assert nod == pytest.approx(nods, abs=6e-5)


def test_at_flat_a_single_leg_tips_both_halves(tmp_path: Path) -> None:
    """A leg 1 mm short, 50 from the spine, on one side only: nod 1/50 rad, outer slopes -1/50 on both sides.

    Flat, the angles drawn on the plane hold it by a double root only, so the leg decides; at 90 they hold
    it well and the same fault is strain instead.
    """
    m = carrying(tmp_path, LEG.format(side="right"))
    n = {**m.lengths, "leg right": 39.0}
    pose = m.solve(n, np.pi)
    assert float(np.degrees(pose.nod)) == pytest.approx(1.1459, abs=5e-4)
    for side in ("left", "right"):
        assert float(np.degrees(pose.lean[side])) == pytest.approx(-1.1459, abs=5e-4)
    assert abs(float(pose.stretch["leg right"])) < 1e-3
    assert float(m.solve(n, np.pi / 2).stretch["leg right"]) > 0.2


def test_uneven_closing_error_binds(tmp_path: Path) -> None:
    """Panel angle 0.5 degrees too large on one side: binds at 10.7203 degrees."""
    m = carrying(tmp_path)
    for error, opening in ((0.1, 4.7887), (0.5, 10.7203), (1.0, 15.1828), (2.0, 21.5338)):
        n = {**m.lengths, "vfold angle left": 90 + error}
        phi = np.radians(np.linspace(1.0, 40.0, 40001))
        chi, _ = panel_angles(
            np.radians(n["glue angle right"]) + 0 * phi,
            np.radians(n["glue angle left"]) + 0 * phi,
            np.radians(n["vfold angle right"]) + 0 * phi,
            np.radians(n["vfold angle left"]) + 0 * phi,
            phi,
        )
        flat = phi[np.flatnonzero(~(chi > 0))[-1]]
        assert float(np.degrees(flat)) == pytest.approx(opening, abs=2e-3)
    assert binding_opening(m, None, np.pi) == 0.0


def test_pillar_as_derived() -> None:
    """90-type, l 40, a 30: height and span of the tips; 1 mm of unequal creases nods by 0.9548 degrees."""
    m = load_spec(SAMPLES / "pillar.toml").mechanism
    n = {**m.lengths, "crease near": 40.0, "crease far": 40.0, "gap": 60.0}
    pose = m.solve(n, np.radians([180.0, 150.0, 120.0, 90.0, 1e-5]))
    assert pose.joints["ridge"][:, 1] == pytest.approx([40.0, 38.7240, 35.7771, 32.6599, 28.2843], abs=6e-5)
    span = pose.points["near tip"][:, 2] - pose.points["far tip"][:, 2]
    assert span == pytest.approx([60.0, 80.0450, 95.7771, 106.1880, 116.5685], abs=6e-5)
    nod = m.solve({**n, "crease near": 41.0}, np.pi).nod
    assert float(np.degrees(nod)) == pytest.approx(0.9548, abs=6e-5)


@pytest.mark.parametrize("deg", [150, 120, 90])
def test_table_on_a_pillar_leans_between_open_and_shut(deg: int) -> None:
    """Legs parallel to the spine, level open and shut, cannot follow between: inherent. f 60, l 40."""
    m = load_spec(SAMPLES / "pillar.toml").mechanism
    leg = (40**2 * 0.5 + 40**2) / (2 * 40 * np.sqrt(0.5))
    n = {**m.lengths, "crease near": 40.0, "crease far": 40.0}
    for s in ("left", "right"):
        n |= {f"leg {s}": leg, f"page spacing {s}": 60.0, f"plane spacing {s}": 60 + leg - 40 * np.sqrt(0.5)}
    lean = float(np.degrees(m.solve(n, np.radians(deg)).lean["right"]))
    assert lean == pytest.approx({150: -1.9347, 120: -2.3874, 90: -2.0654}[deg], abs=6e-5)
    assert float(np.degrees(m.solve(n, np.pi).lean["right"])) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("name", ["vfold", "vfold_uneven"])
def test_card_stays_rigid_in_space(name: str) -> None:
    """Every pair of points of one piece of card keeps its distance, from flat to nearly shut."""
    m = load_spec(SAMPLES / f"{name}.toml").mechanism
    pose = m.solve({}, np.radians(np.linspace(180.0, 2.0, 60)))
    pieces = [["ridge", "vfold tip", f"plane edge {s}"] for s in ("left", "right")]
    for s in ("left", "right"):
        pieces.append(["vfold point", "vfold tip", f"vfold foot {s}", f"vfold top {s}"])
        pieces.append(["spine", "vfold point", f"vfold foot {s}", f"fore edge {s}"])
        if f"leg {s}" in m.lengths:
            pieces.append(["spine", f"vfold foot {s}", f"outer foot {s}", f"fore edge {s}"])
            pieces.append([f"outer foot {s}", f"leg top {s}"])
            pieces.append(["ridge", f"vfold top {s}", f"leg top {s}", f"plane edge {s}"])
        else:
            pieces.append(["ridge", f"vfold top {s}", f"plane edge {s}"])
    for piece in pieces:
        for i, a in enumerate(piece):
            for b in piece[i + 1 :]:
                d = np.linalg.norm(pose.points[a] - pose.points[b], axis=-1)
                assert np.ptp(d) < 1e-8, (a, b)
