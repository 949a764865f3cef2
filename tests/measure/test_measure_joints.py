"""Joints where panels meet: exact places, what is left undetermined, and covariance against Monte Carlo."""

from dataclasses import replace

import numpy as np
import pytest

from measure.geometry import Curve
from measure.joints.joint_location import FreeEnd, JointSet, PanelLine, locate_joints, meet
from measure.layout import Layout, Panel, Role
from measure.reasons import Unseen, WhyUnseen
from tests.helpers.drawn_dummy import HEIGHT, JOINTS, dummy_layout, exact_lines

EYE = np.array([15.0, 70.0, 620.0])
STANDOFF = 20.0
N_DRAWS = 700
ENDS = [
    FreeEnd(joint=f"plane edge {side}", panel=f"plane {side}", along_mm=70.0, err_mm=0.1)
    for side in ("right", "left")
]


def located(layout: Layout, lines: list[PanelLine], ends: list[FreeEnd] = ENDS) -> JointSet:
    return locate_joints(layout, lines, ends, eye_mm=EYE, standoff_mm=STANDOFF, near_end_sd_mm=0.5)


def place(joints: JointSet, name: str) -> np.ndarray:
    return joints.xy_mm[joints.names.index(name)]


def test_two_straight_lines_meet_at_their_crossing() -> None:
    a = Curve(a=np.array([-10.0, 0.0]), b=np.array([10.0, 4.0]))
    b = Curve(a=np.array([3.0, -8.0]), b=np.array([5.0, 9.0]))
    # by hand: y = (x + 10) / 5 and x = 3 + 2 (y + 8) / 17
    y = (13 + 16 / 17) / 5 / (1 - 2 / 85)
    expected = [5 * y - 10, y]
    for weights in ([1.0, 1.0], [400.0, 1.0]):
        assert meet([a, b], np.array(weights), np.array([30.0, -20.0])) == pytest.approx(expected, abs=1e-9)


def test_bowed_curves_meet_where_both_pass() -> None:
    a = Curve(a=np.array([-20.0, 1.0]), b=np.array([20.0, 3.0]), bow=1.4)
    b = Curve(a=np.array([4.0, -20.0]), b=np.array([9.0, 20.0]), bow=-0.9)
    xy = meet([a, b], np.ones(2), np.array([5.0, 0.0]))
    for curve in (a, b):
        fine = curve.points(np.linspace(0, 1, 400_001))
        # points of the curve are 0.0001 mm apart
        assert np.hypot(*(fine - xy).T).min() < 2e-4
    straight = meet([replace(a, bow=0.0), replace(b, bow=0.0)], np.ones(2), xy)
    assert np.hypot(*(xy - straight)) > 0.5  # the bow matters


def test_three_lines_meet_by_their_weights() -> None:
    upright = Curve(a=np.array([0.0, -5.0]), b=np.array([0.0, 5.0]))
    low = Curve(a=np.array([-5.0, 0.0]), b=np.array([5.0, 0.0]))
    high = Curve(a=np.array([-5.0, 1.0]), b=np.array([5.0, 1.0]))
    xy = meet([upright, low, high], np.array([1.0, 1.0, 3.0]), np.zeros(2))
    assert xy == pytest.approx([0.0, 0.75])


def test_every_joint_of_an_exact_dummy_is_placed_exactly() -> None:
    layout = dummy_layout()
    joints = located(layout, exact_lines(layout))
    assert set(joints.names) == set(JOINTS) - {"spine", "fore edge left", "fore edge right"}
    for name in joints.names:
        assert place(joints, name) == pytest.approx(JOINTS[name], abs=1e-9)
    assert joints.undetermined["spine"] == WhyUnseen(kind=Unseen.SPINE_UNMARKED)
    assert joints.undetermined["fore edge right"] == WhyUnseen(kind=Unseen.NOT_LOOKED_FOR)


def test_on_an_open_vee_the_spine_is_where_the_pages_meet() -> None:
    up = np.array([np.cos(np.radians(25)), np.sin(np.radians(25))])
    layout = dummy_layout(
        inner_foot_right=tuple(12 * up), outer_foot_right=tuple(60 * up), fore_edge_right=tuple(100 * up)
    )
    joints = located(layout, exact_lines(layout))
    assert place(joints, "spine") == pytest.approx([0, 0], abs=1e-9)
    assert "spine" not in joints.undetermined


def test_what_misses_a_panel_is_named_with_that_panel() -> None:
    layout = dummy_layout()
    lines = [line for line in exact_lines(layout) if line.name not in ("leg left", "plane left")]
    joints = located(layout, lines, ENDS[:1])
    assert joints.undetermined["leg top left"] == WhyUnseen(
        kind=Unseen.PANELS_MISSING, names=("plane left", "leg left")
    )
    assert joints.undetermined["outer foot left"] == WhyUnseen(
        kind=Unseen.PANELS_MISSING, names=("leg left",)
    )
    assert joints.undetermined["plane edge left"] == WhyUnseen(
        kind=Unseen.PANELS_MISSING, names=("plane left",)
    )
    assert "ridge" in joints.names and "leg top right" in joints.names


def test_a_plane_half_that_misses_the_ridge_does_not_move_it() -> None:
    layout = dummy_layout()
    lines = exact_lines(layout)
    k = next(i for i, line in enumerate(lines) if line.name == "plane left")

    def ridge(lower_by: float) -> np.ndarray:
        curve = lines[k].curve
        moved = replace(curve, a=curve.a - [0.0, lower_by], b=curve.b - [0.0, lower_by])
        changed = [*lines[:k], replace(lines[k], curve=moved), *lines[k + 1 :]]
        return place(located(layout, changed), "ridge")

    assert ridge(1.5) == pytest.approx([0.0, HEIGHT], abs=0.1)  # misread: it hardly counts
    assert np.array_equal(ridge(2.5), ridge(3.5))  # and farther off nothing
    small = HEIGHT - ridge(0.2)[1]
    # within hand and glue it has its say: one line of weight 1/0.08^2 beside another like it and two folds of
    # 1/0.05^2 whose normals point up by 12/40 each
    w_plane, w_fold, up = 0.08**-2, 0.05**-2, (12 / 40) ** 2
    assert small == pytest.approx(0.2 * w_plane / (2 * w_plane + 2 * w_fold * up), rel=1e-6)


def test_a_ridge_that_both_plane_halves_pass_by_is_doubted() -> None:
    """One half may have its crease glued off the ridge; if both miss it alike, a fold may be fitted wrong."""
    layout = dummy_layout()

    def doubt(*off_mm: float) -> float:
        shift = dict(zip(("plane left", "plane right"), off_mm, strict=True))
        lines = []
        for line in exact_lines(layout):
            d = shift.get(line.name, 0.0) * np.sign(line.curve.normal[1])
            lines.append(replace(line, curve=replace(line.curve, d0=d, d1=d).straightened()))
        joints = located(layout, lines)
        k = 2 * joints.names.index("ridge")
        cov = sum(joints.cov_by_source.values())
        return float(np.sqrt(cov[k + 1, k + 1]))

    assert doubt(0.0, -3.0) < 0.3 and doubt(3.0, -3.0) < 0.3
    assert doubt(-3.0, -3.0) > 1.4


def test_a_free_end_lies_along_its_own_panel() -> None:
    layout = dummy_layout()
    lines = exact_lines(layout, {"plane right": 0.8})
    ends = [FreeEnd(joint="plane edge right", panel="plane right", along_mm=63.0, err_mm=0.1)]
    joints = located(layout, lines, ends)
    # 63 of 70 mm along, 4 * 0.8 * 0.9 * 0.1 above the chord
    assert place(joints, "plane edge right") == pytest.approx([63.0, HEIGHT + 0.288], abs=1e-9)
    cov = joints.cov_by_source["edge fits"]
    i = 2 * joints.names.index("plane edge right")
    assert cov[i, i] == pytest.approx(0.1**2, rel=0.02)  # along the panel: the end itself
    assert "plane edge left" in joints.undetermined


def test_a_joint_of_its_own_level_moves_alone() -> None:
    layout = dummy_layout()
    lines = [
        replace(line, joint_shift={"outer foot right": np.array([0.0, 0.2])})
        if line.name == "page right"
        else line
        for line in exact_lines(layout)
    ]
    joints = located(layout, lines)
    leg = np.array([-12.0, HEIGHT]) / 40
    assert place(joints, "outer foot right") == pytest.approx(
        np.array([60.0, 0.0]) + leg * 0.2 / leg[1], abs=1e-9
    )
    assert place(joints, "inner foot right") == pytest.approx([12.0, 0.0], abs=1e-9)


# Covariance -----------------------------------------------------------------------------------------------

BOWS = {"leg right": 1.0, "fold left": -0.6}


def tangled(layout: Layout) -> list[PanelLine]:
    """Lines whose ends and bow have correlated and unequal uncertainties."""
    mix = np.array([[0.04, 0.0, 0.0], [-0.01, 0.03, 0.0], [0.01, -0.02, 0.02]])
    return [
        replace(line, fit_cov=(1 + 0.1 * k) ** 2 * mix @ mix.T, layer_sd_mm=0.02 + 0.005 * k)
        for k, line in enumerate(exact_lines(layout, BOWS))
    ]


def one_sided() -> Layout:
    """The dummy without plane and leg on the left: every kind of joint, fewer of them."""
    whole = dummy_layout()
    return replace(whole, panels=tuple(p for p in whole.panels if p.name not in ("plane left", "leg left")))


def with_edge_noise(line: PanelLine, rng: np.random.Generator) -> PanelLine:
    d0, d1, bow = rng.multivariate_normal(np.zeros(3), line.fit_cov)
    n = line.curve.normal
    curve = Curve(a=line.curve.a + d0 * n, b=line.curve.b + d1 * n, bow=line.curve.bow + bow)
    return replace(line, curve=curve)


def with_uneven_ends(line: PanelLine, rng: np.random.Generator) -> PanelLine:
    """Seen from the eye, a near end z before the plane appears at C + (p - C) D / (D - z)."""
    z = rng.multivariate_normal(np.zeros(2), 0.5**2 * np.array([[1, 0.8], [0.8, 1]]))
    distance = EYE[2] - STANDOFF
    a, b = (
        EYE[:2] + (p - EYE[:2]) * distance / (distance - dz)
        for p, dz in zip((line.curve.a, line.curve.b), z, strict=True)
    )
    return replace(line, curve=Curve(a=a, b=b, bow=line.curve.bow))


def with_other_layers(line: PanelLine, rng: np.random.Generator) -> PanelLine:
    shift = rng.normal(0, line.layer_sd_mm) * line.curve.normal
    return replace(line, curve=replace(line.curve, a=line.curve.a + shift, b=line.curve.b + shift))


def free_ends(
    lines: list[PanelLine], exact: list[PanelLine], along_sd: float, rng: np.random.Generator
) -> list[FreeEnd]:
    """The cut edges, seen where the moved panels have them."""
    out = []
    for end in ENDS[:1]:
        k = next(i for i, line in enumerate(lines) if line.name == end.panel)
        # the cut edge is a point of the card: it moves with the panel's last end, not with its first
        tip = exact[k].curve.b + (lines[k].curve.b - exact[k].curve.b)
        along = float((tip - lines[k].curve.a) @ lines[k].curve.tangent) + rng.normal(0, along_sd)
        out.append(replace(end, along_mm=along))
    return out


def test_covariance_is_the_scatter_of_disturbed_panels() -> None:
    rng = np.random.default_rng(31)
    layout = one_sided()
    exact = tangled(layout)
    claimed = np.sum(list(located(layout, exact, ENDS[:1]).cov_by_source.values()), axis=0)
    draws = []
    for _ in range(N_DRAWS):
        lines = [with_other_layers(with_uneven_ends(with_edge_noise(x, rng), rng), rng) for x in exact]
        draws.append(located(layout, lines, free_ends(lines, exact, 0.1, rng)).xy_mm.ravel())
    real = np.cov(np.array(draws).T)
    sd_claimed, sd_real = np.sqrt(np.diag(claimed)), np.sqrt(np.diag(real))
    # 700 draws fix a standard deviation to 2.7 % (one sigma); the claim is linear in the disturbances
    assert np.abs(sd_real / sd_claimed - 1).max() < 0.08
    # and correlations to 0.04
    assert np.abs((real - claimed) / np.outer(sd_claimed, sd_claimed)).max() < 0.15


def test_sources_are_symmetric_and_never_negative() -> None:
    layout = dummy_layout()
    joints = located(layout, tangled(layout))
    assert set(joints.cov_by_source) == {"edge fits", "near ends", "card layers", "page level"}
    for cov in joints.cov_by_source.values():
        assert np.allclose(cov, cov.T)
        assert np.linalg.eigvalsh(cov).min() > -1e-12


def test_a_level_that_pages_share_moves_all_feet_alike() -> None:
    """One sd of the page's level, 0.4 mm: every foot moves by it across the page, and heights with it."""
    layout = dummy_layout()
    lines = tangled(layout)
    pages = {line.name: line for line in lines if line.role is Role.PAGE}
    signs = {name: float(np.sign(line.curve.normal[1])) for name, line in pages.items()}
    up = {name: (0.4 * sign, 0.4 * sign) for name, sign in signs.items()}
    shared = locate_joints(
        layout, lines, ENDS, eye_mm=EYE, standoff_mm=STANDOFF, near_end_sd_mm=0.5, level_shifts=[up]
    )
    cov = shared.cov_by_source["page level"]
    feet = [i for i, joint in enumerate(shared.names) if "foot" in joint]
    heights = cov[np.ix_([2 * i + 1 for i in feet], [2 * i + 1 for i in feet])]
    assert len(feet) >= 2 and np.allclose(heights, 0.16, rtol=0.05)
    assert np.linalg.matrix_rank(cov, tol=1e-9) == 1


# Lengths from joints: correlated inputs ---------------------------------------------------------------------


def comb() -> tuple[Layout, list[PanelLine]]:
    """A page and three upright strips on it, 30 mm and 25 mm apart, each known sideways to 0.1 mm."""
    feet = {"first": (0.0, 0.0), "second": (30.0, 0.0), "third": (55.0, 0.0)}
    tops = {f"{name} top": (x, 40.0) for name, (x, _) in feet.items()}
    joints = {"start": (-20.0, 0.0), **feet, **tops, "end": (80.0, 0.0)}
    strips = tuple(Panel(name=f"strip {n}", joints=(n, f"{n} top"), role=Role.LEG) for n in feet)
    page = Panel(name="page", joints=("start", *feet, "end"), role=Role.PAGE)
    layout = replace(
        dummy_layout(),
        joint_names=tuple(joints),
        xy_mm=np.array(list(joints.values())),
        panels=(page, *strips),
    )
    sd = 0.1
    lines = [
        replace(line, fit_cov=np.diag([sd**2, 0.0, 0.0]), layer_sd_mm=0.0)
        if line.role is Role.LEG
        else replace(line, fit_cov=np.diag([0.2**2, 0.2**2, 0.0]), layer_sd_mm=0.0)
        for line in exact_lines(layout)
    ]
    return layout, lines


def test_lengths_that_share_a_joint_are_correlated() -> None:
    """Closed form of the law of propagation with correlated inputs, JCGM 100:2008, 5.2.2, equation (13).

    The rule of its example H.2: a covariance matrix of the inputs, sensitivities on both sides. Feet x1, x2
    and x3 each known to u: u(x2 - x1) = u sqrt 2; the difference of the two spacings, x3 - 2 x2 + x1, has
    u sqrt 6. Taking the spacings for independent would give 2 u.
    """
    layout, lines = comb()
    joints = located(layout, lines, [])
    cov = joints.cov_by_source["edge fits"]
    x = [2 * joints.names.index(n) for n in ("first", "second", "third")]
    spacing, difference = np.zeros(len(cov)), np.zeros(len(cov))
    spacing[x[:2]] = [-1, 1]
    difference[x] = [1, -2, 1]
    assert np.sqrt(spacing @ cov @ spacing) == pytest.approx(0.1 * np.sqrt(2), rel=1e-9)
    assert np.sqrt(difference @ cov @ difference) == pytest.approx(0.1 * np.sqrt(6), rel=1e-9)
    # the page's own uncertainty (0.2 mm at each end) moves feet up and down, together
    y = [i + 1 for i in x]
    s = (np.array([0.0, 30.0, 55.0]) + 20) / 100
    expected = 0.2**2 * (np.outer(1 - s, 1 - s) + np.outer(s, s))
    assert cov[np.ix_(y, y)] == pytest.approx(expected, rel=1e-9)


def test_uneven_ends_and_layers_in_closed_form() -> None:
    layout, lines = comb()
    lines = [replace(line, layer_sd_mm=0.04 if line.role is Role.PAGE else 0.07) for line in lines]
    joints = located(layout, lines, [])
    x = np.array([0.0, 30.0, 55.0])
    rows = 2 * np.array([joints.names.index(n) for n in ("first", "second", "third")])
    # a near end 0.5 mm out of the plane looks shifted by 0.5 mm / distance times its place from below the eye
    ends = joints.cov_by_source["near ends"]
    distance = EYE[2] - STANDOFF
    assert np.sqrt(np.diag(ends)[rows]) == pytest.approx(0.5 * np.abs(x - EYE[0]) / distance, rel=1e-9)
    assert ends[rows[0], rows[1]] == pytest.approx(0.0, abs=1e-15)  # strips are cut one by one
    s = (x + 20) / 100
    along = (1 - s) ** 2 + s**2 + 2 * 0.8 * s * (1 - s)  # one page: its two corners stand back nearly alike
    up = np.sqrt(np.diag(ends)[rows + 1])
    assert up == pytest.approx(0.5 * EYE[1] / distance * np.sqrt(along), rel=1e-9)
    layers = joints.cov_by_source["card layers"]
    assert np.sqrt(np.diag(layers)[rows]) == pytest.approx(0.07, rel=1e-9)
    assert layers[np.ix_(rows + 1, rows + 1)] == pytest.approx(np.full((3, 3), 0.04**2), rel=1e-9)


def test_no_joint_no_matrix() -> None:
    layout, lines = comb()
    joints = located(layout, lines[1:], [])
    assert joints.names == () and joints.xy_mm.shape == (0, 2)
    assert all(cov.shape == (0, 0) for cov in joints.cov_by_source.values())


def test_no_panel_no_joint() -> None:
    """A sheet without a dummy, or a photo too dark to show one."""
    layout = dummy_layout()
    joints = located(layout, [], [])
    assert joints.names == () and len(joints.xy_mm) == 0
    assert all(c.shape == (0, 0) for c in joints.cov_by_source.values())
    assert set(joints.undetermined) == set(layout.joint_names)
