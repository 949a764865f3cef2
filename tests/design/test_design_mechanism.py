"""Every mechanism of the house, from the sample specs: positions, leans, loops, branches, and vectorising."""

from pathlib import Path

import numpy as np
import pytest

from capture.arrays import Array
from compare.design.expected_layout import layout_of
from compare.design.linkage.mechanism import Mechanism
from compare.design.load_spec import load_spec
from compare.design.spec.spec import Spec
from compare.tell.words.designs.design_words import warnings_told
from measure.layout import Role

SAMPLES = Path(__file__).parents[2] / "sample_images"
ROWS = (
    "good_arch", "one_sided", "tab_support", "many_legs", "asymmetric", "oblique", "stages", "vfold",
    "vfold_uneven", "pillar", "flaps", "background", "scissors",
)  # fmt: skip
OPENINGS = np.radians([180.0, 150.0, 120.0, 90.0, 60.0, 30.0, 5.0])


def sample(name: str) -> Spec:
    return load_spec(SAMPLES / f"{name}.toml")


def spread(pose_xy: Array, a: Array) -> Array:
    return np.hypot(*np.moveaxis(pose_xy - a, -1, 0))


@pytest.mark.parametrize("name", ROWS)
def test_every_length_is_kept_from_open_to_shut(name: str) -> None:
    """Loop closure: the joints lie as far apart as the card between them, at every opening."""
    m = sample(name).mechanism
    pose = m.solve({}, OPENINGS)
    checked = 0
    for length, (a, b) in m.ends.items():
        if length not in m.lengths:  # "feet", "height": not a length of card
            continue
        where = pose.points if a in pose.points and b in pose.points else pose.joints
        apart = np.sqrt(np.sum((where[b] - where[a]) ** 2, axis=-1))
        if name.startswith("vfold") and "plane spacing" in length:
            continue  # held along the glue line, not between near ends; see the tests of V-folds
        assert apart == pytest.approx(m.lengths[length], abs=1e-6), length
        checked += 1
    assert checked >= 5


@pytest.mark.parametrize("name", ROWS)
def test_panels_are_straight_and_in_order(name: str) -> None:
    spec = sample(name)
    layout = layout_of(spec)
    for panel in layout.panels:
        xy = np.array([layout.at(j) for j in panel.joints])
        lifts = [spec.mechanism.lifts.get(j, 0) for j in panel.joints]
        xy = xy[np.array(lifts) == lifts[0]]  # what stands on a plane stands a little above its line
        along = xy[-1] - xy[0]
        along /= np.hypot(*along)
        s = (xy - xy[0]) @ along
        off = (xy - xy[0]) @ np.array([-along[1], along[0]])
        assert np.all(np.diff(s) > 0.5), panel.name
        assert np.abs(off).max() < 1e-6, panel.name


@pytest.mark.parametrize("name", ROWS)
def test_shuts_flat_and_straight_out(name: str) -> None:
    spec = sample(name)
    assert not [w for w in warnings_told(spec) if "shut" in w]
    nearly = 3.0 if name == "pillar" else 0.5  # degrees; the pillar's lengths are rounded to 0.01 mm
    pose = spec.mechanism.solve({}, np.radians(nearly))
    for joint, xy in pose.joints.items():
        assert abs(float(xy[0])) < nearly * 1.3, joint  # all in one line along the shut pages
        assert float(xy[1]) > -1e-6, joint


@pytest.mark.parametrize("name", ROWS)
def test_nothing_jumps_to_another_branch_on_the_way(name: str) -> None:
    m = sample(name).mechanism
    phi = np.radians(np.linspace(2.0, 180.0, 713))
    pose = m.solve({}, phi)
    for joint, xy in pose.joints.items():
        assert np.isfinite(xy).all(), joint
        assert np.abs(np.diff(xy, axis=0)).max() < 1.5, joint  # mm per quarter degree


@pytest.mark.parametrize("name", ROWS)
def test_many_samples_at_once_are_the_same_as_one_by_one(name: str) -> None:
    m = sample(name).mechanism
    rng = np.random.default_rng(4)
    n = 5
    lengths = {k: v + rng.normal(0, 0.2, n) for k, v in m.lengths.items()}
    phi = np.radians(np.linspace(100.0, 150.0, n))
    together = m.solve(lengths, phi)
    for i in range(n):
        alone = m.solve({k: v[i] for k, v in lengths.items()}, phi[i])
        for joint, xy in together.joints.items():
            row = xy[i] if xy.ndim == 2 else xy
            assert row == pytest.approx(alone.joints[joint], abs=1e-7), joint
        for half, lean in together.lean.items():
            assert float(lean[i]) == pytest.approx(float(alone.lean[half]), abs=1e-8)


# ---- figures of the project's own derivation, checked there against rigid panels in space ----


def planes(text: str, folder: Path) -> Mechanism:
    path = folder / "spread.toml"
    path.write_text(text, encoding="utf-8")
    return load_spec(path).mechanism


PLAIN = """
[base]
page = 148.5
[fold]
left = 40
right = 40
foot_left = 12
foot_right = 12
[left]
leg = 40
page_spacing = 60
plane_spacing = 60
{right}
[plane]
left = 60
right = 60
{more}
"""
RIGHT = "[right]\nleg = 40\npage_spacing = 60\nplane_spacing = 60\n"


def test_pull_up_flap(tmp_path: Path) -> None:
    m = planes(PLAIN.format(right=RIGHT, more="[right.flap]\nhinge = 100\nflap = 42\nstrap = 30\n"), tmp_path)
    flap = np.degrees(m.solve({}, np.radians([180, 150, 120, 90, 60, 30])).angles["flap right"])
    assert flap == pytest.approx([103.9336, 89.1206, 73.0069, 55.7780, 37.6788, 18.9883], abs=6e-5)
    assert m.closing_errors()["flap right"] == 0
    n = {**m.lengths, "flap right": 30.0, "strap right": 18.0}  # closes as well, but stops the base
    opens = np.isfinite(m.solve(n, np.radians([142.86, 142.87])).joints["strap end right"][:, 0])
    assert opens.tolist() == [True, False]


@pytest.mark.parametrize(
    ("spacings", "fault", "tilt", "stretch"),
    [
        ((30, 60), 1, -0.8008, (-0.4, 0.2)),
        ((30, 60), 0, -0.4004, (0.8, -0.4)),
        ((20, 40, 60), 1, -0.4290, (-0.1429, 0.7143, -0.4286)),
    ],
)
def test_redundant_legs_share_the_fault(
    tmp_path: Path, spacings: tuple[int, ...], fault: int, tilt: float, stretch: tuple[float, ...]
) -> None:
    """Equal stiffness: tilt = sum(A r) / (sin psi sum A^2); figures are first order, so per 0.01 mm."""
    legs = "".join(f"[[right.legs]]\nleg = 40\npage_spacing = {a}\nplane_spacing = {a}\n" for a in spacings)
    m = planes(PLAIN.format(right=legs, more=""), tmp_path)
    n = {**m.lengths, f"leg {fault + 1} right": 40 - 0.01}
    pose = m.solve(n, np.pi)
    assert float(np.degrees(pose.lean["right"])) * 100 == pytest.approx(tilt, abs=2e-4)
    assert [float(v) * 100 for v in pose.stretch.values()] == pytest.approx(stretch, abs=4e-4)


def test_support_from_the_other_page(tmp_path: Path) -> None:
    text = """
[base]
page = 148.5
[fold]
right = 40
foot_right = 12
[left]
support = 52
foot = 10
tab = 10
[right]
leg = 40
page_spacing = 60
plane_spacing = 60
[plane]
right = 70
"""
    m = planes(text, tmp_path)
    assert m.solve({}, np.pi).joints["ridge"] == pytest.approx([13.25, 39.9805], abs=6e-5)
    assert m.closing_errors() == {"support left": 0.0, "right": 0.0}
    wrong = {**m.lengths, "leg right": 39.0}  # no formula: the lengths must hold all the same
    pose = m.solve(wrong, np.radians([60.0, 120.0, 180.0]))
    for name, (a, b) in m.ends.items():
        if name in m.lengths:
            assert spread(pose.joints[b], pose.joints[a]) == pytest.approx(wrong[name], abs=1e-6), name


def test_stages_add_up(tmp_path: Path) -> None:
    text = PLAIN.format(
        right=RIGHT,
        more="""
[[stage]]
[stage.fold]
left = 25
right = 25
foot_left = 8
foot_right = 8
[stage.left]
leg = 25
page_spacing = 30
plane_spacing = 30
[stage.right]
leg = 25
page_spacing = 30
plane_spacing = 30
[stage.plane]
left = 30
right = 30
""",
    )
    m = planes(text, tmp_path)
    heights = m.solve({}, np.radians([180.0, 90.0, 0.0])).joints["stage 2 ridge"][:, 1]
    assert heights == pytest.approx([61.8430, 77.5834, 85.0], abs=6e-5)
    pose = m.solve({**m.lengths, "leg right": 39.0}, np.pi)  # a fault below is inherited above
    assert float(np.degrees(pose.lean["stage 2 right"])) == pytest.approx(-1.0052, abs=2e-4)
    assert float(pose.joints["stage 2 ridge"][0]) == pytest.approx(0.2072, abs=1e-3)
    assert "leg right" in m.half("stage 2 right").governs


@pytest.mark.parametrize(
    ("deg", "lean"), [(180, 8.7724), (150, 6.9397), (120, 5.3118), (90, 3.8457), (60, 2.4988), (30, 1.2301)]
)
def test_oblique_plane_grows_with_the_opening(tmp_path: Path, deg: float, lean: float) -> None:
    right = "[right]\nleg = 48\npage_spacing = 55\nplane_spacing = 63\n"
    m = planes(PLAIN.format(right=right, more="").replace("right = 60\n\n", "right = 63\n"), tmp_path)
    assert float(np.degrees(m.solve({}, np.radians(deg)).lean["right"])) == pytest.approx(lean, abs=6e-5)


def test_opening_limit_of_a_design_that_closes(tmp_path: Path) -> None:
    """A_base 60, A_plane 50, B 40, leg 30 closes but stops at 174.0878 degrees."""
    m = planes(PLAIN.format(right=RIGHT, more=""), tmp_path)
    n = {**m.lengths, "plane spacing right": 50.0, "leg right": 30.0}
    assert m.closing_errors(n)["right"] == 0
    lean = m.solve(n, np.radians([174.0877, 174.0879])).lean["right"]
    assert np.isfinite(lean).tolist() == [True, False]


# ---- linkages given by their joints ----


def test_drawn_linkage_is_the_same_as_the_one_in_trade_terms(tmp_path: Path) -> None:
    text = PLAIN.format(right=RIGHT, more="").replace("left = 60\nright = 60", "left = 70\nright = 70")
    m = planes(text, tmp_path)
    joints = m.solve({}, np.pi).joints
    rows = "".join(f'"{k}" = [{v[0]:.9f}, {v[1]:.9f}]\n' for k, v in joints.items())
    panels = ""
    for p in m.panels:
        names = ", ".join(f'"{j}"' for j in p.joints)
        panels += f'[[panel]]\nname = "{p.name}"\njoints = [{names}]\nrole = "{p.role.value}"\n'
        panels += f'parallel_to = "page {p.name.split()[-1]}"\n' if p.role is Role.PLANE else ""
    drawn = planes(f"[base]\npage = 148.5\n[joints]\n{rows}{panels}", tmp_path)
    phi = np.radians([170.0, 120.0, 60.0, 10.0])
    a, b = m.solve({}, phi), drawn.solve({}, phi)
    for joint in joints:
        assert b.joints[joint] == pytest.approx(a.joints[joint], abs=1e-4), joint
    assert {h.name for h in drawn.halves} == {"left", "right"}


FIVE = """
[base]
page = 148.5
opening = 120
[joints]
spine = [0, 0]
a = [-25.980762, 15]
b = [34.641016, 20]
"fore edge left" = [-128.604, 74.25]
"fore edge right" = [128.604, 74.25]
p = [-20, 50]
q = [30, 60]
r = [0, 90]
c = [52, 30.022]
s = [60, 85]
[[panel]]
name = "page left"
joints = ["spine", "a", "fore edge left"]
[[panel]]
name = "page right"
joints = ["spine", "b", "c", "fore edge right"]
"""


def test_linkage_that_no_pair_of_panels_solves(tmp_path: Path) -> None:
    """Three panels from the pages to one rigid triangle: no dyad; followed by iteration, lengths held."""
    text = FIVE.replace('"b", "c"', '"b", "c"') + "".join(
        f'[[panel]]\nname = "{n}"\njoints = {j}\n'
        for n, j in (
            ("one", '["a", "p"]'), ("two", '["b", "q"]'), ("three", '["c", "s"]'),
            ("pq", '["p", "q"]'), ("ps", '["p", "s"]'), ("qs", '["q", "s"]'),
        )
    )  # fmt: skip
    text = text.replace("r = [0, 90]\n", "").replace("c = [52, 30.022]", "c = [51.961524, 30]")
    text = text.replace("[128.604, 74.25]", "[128.604, 74.25]")
    m = planes(text, tmp_path)
    assert any(type(step).__name__ == "Follow" for step in m.steps)
    pose = m.solve({}, np.radians([120.0, 112.0, 125.0]))
    assert pose.joints["p"][0] == pytest.approx([-20, 50], abs=1e-6)
    for name, (a, b) in m.ends.items():
        assert spread(pose.joints[b], pose.joints[a]) == pytest.approx(m.lengths[name], abs=1e-6), name
