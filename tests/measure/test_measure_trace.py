"""A dummy put together from stripes: what belongs to it is taken, what does not is left."""

from dataclasses import replace

import numpy as np
import pytest

from measure.geometry import Curve
from measure.layout import Card, Role
from measure.tracing.assemble_dummy import assemble
from measure.tracing.page_lines import Pages
from measure.tracing.straight_stripes import Stripe
from measure.tracing.trace_dummy import Traced, traced_of
from measure.tracing.traced_shape import aims_at
from tests.helpers.drawn_dummy import at_opening

EYE = np.array([45.0, 130.0, 700.0])
ORIGIN = np.array([4.0, -104.7])
Joints = dict[str, np.ndarray]


def joints_at(opening_deg: float = 180.0) -> Joints:
    return {name: np.array(xy) + ORIGIN for name, xy in at_opening(opening_deg).items()}


def stripe(a: np.ndarray, b: np.ndarray, score: float | None = None) -> Stripe:
    """A stripe from a to b; longer ones score more, as they do in photographs."""
    return Stripe(curve=Curve(a=a, b=b), score=12.0 * float(np.hypot(*(b - a))) if score is None else score)


def dummy(at: Joints, rng: np.random.Generator, sides: tuple[str, ...] = ("left", "right")) -> list[Stripe]:
    """Stripes of a whole dummy, off by some tenths of a millimetre and not seen to their very ends."""
    pairs = [("spine", f"fore edge {s}") for s in ("left", "right")]
    pairs += [(f"inner foot {s}", "ridge") for s in ("left", "right")]
    pairs += [(f"outer foot {s}", f"leg top {s}") for s in sides]
    pairs += [("ridge", f"plane edge {s}") for s in sides]
    out = []
    for a, b in pairs:
        way = (at[b] - at[a]) / np.hypot(*(at[b] - at[a]))
        p, q = at[a] + rng.uniform(0, 2) * way, at[b] - rng.uniform(0, 2) * way
        out.append(stripe(p + rng.normal(0, 0.1, 2), q + rng.normal(0, 0.1, 2)))
    return out


def back(at: np.ndarray, share: float = 0.1) -> Stripe:
    """An edge that runs back along the spine from a corner: toward the foot of the eye."""
    return stripe(at, at + share * (EYE[:2] - at))


def clutter(rng: np.random.Generator) -> list[Stripe]:
    """Edges of things behind: anywhere, any direction, some of them strong."""
    out = []
    for _ in range(25):
        a = np.array([rng.uniform(-100, 100), rng.uniform(-50, 60)])
        turn = rng.uniform(0, np.pi)
        out.append(stripe(a, a + rng.uniform(8, 60) * np.array([np.cos(turn), np.sin(turn)])))
    return out


def traced(stripes: list[Stripe]) -> Traced:
    shape = assemble(sorted(stripes, key=lambda s: -s.score), -105.0, EYE)
    assert shape is not None
    return traced_of(shape, Card())


def check_joints(result: Traced, at: Joints, names: list[str], within: float = 1.5) -> None:
    for name in names:
        assert np.hypot(*(result.at_mm[name] - at[name])) < within, name


STANDING = [
    f"{j} {s}" for s in ("left", "right") for j in ("inner foot", "outer foot", "leg top")
] + ["ridge"]  # fmt: skip


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("opening", [180.0, 150.0, 110.0])
def test_a_dummy_among_other_things(seed: int, opening: float) -> None:
    rng = np.random.default_rng(seed)
    at = joints_at(opening)
    result = traced([*dummy(at, rng), *clutter(rng)])
    check_joints(result, at, STANDING)
    assert result.spine_seen == (opening != 180.0)
    assert result.layout.opening_deg == pytest.approx(opening, abs=1.5)
    kinds = ("page", "fold", "leg", "plane")
    assert [p.name for p in result.layout.panels] == [f"{k} {s}" for k in kinds for s in ("left", "right")]
    assert ("feet" in result.lengths) == (opening == 180.0)


def test_one_page_on_the_table_and_the_other_raised() -> None:
    rng = np.random.default_rng(11)
    turn = np.deg2rad(20.0)  # half of what is missing to flat: the right page lies on the table
    c, s = np.cos(turn), np.sin(turn)
    at = {k: np.array([[c, s], [-s, c]]) @ np.array(xy) + ORIGIN for k, xy in at_opening(140.0).items()}
    result = traced([*dummy(at, rng), *clutter(rng)])
    check_joints(result, at, [*STANDING, "spine"])
    assert result.layout.opening_deg == pytest.approx(140.0, abs=1.5)


def test_the_layout_stands_upright_at_its_spine() -> None:
    rng = np.random.default_rng(3)
    at = joints_at(120.0)
    result = traced(dummy(at, rng))
    assert np.hypot(*result.layout.at("spine")) == pytest.approx(0.0, abs=1e-9)
    left, right = result.layout.at("fore edge left"), result.layout.at("fore edge right")
    # The bisector of the pages is y: both rise alike.
    assert left[1] / -left[0] == pytest.approx(right[1] / right[0], rel=1e-6)
    for name, (a, b) in result.lengths.items():
        seen = np.hypot(*(result.at_mm[b] - result.at_mm[a]))
        assert result.layout.length(a, b) == pytest.approx(seen), name


def test_one_side_only_and_no_second_half_is_invented() -> None:
    rng = np.random.default_rng(4)
    at = joints_at()
    fore = at["fore edge left"]
    result = traced([*dummy(at, rng, ("right",)), back(fore), *clutter(rng)])
    assert "plane left" not in {p.name for p in result.layout.panels}
    assert not any(name.startswith("outer foot left") for name in result.layout.joint_names)
    check_joints(result, at, ["ridge", "outer foot right", "leg top right"])


def test_two_legs_under_a_half_are_numbered_from_the_ridge_outwards() -> None:
    rng = np.random.default_rng(5)
    at = joints_at()
    shift = np.array([-22.0, 0.0])
    inner = stripe(at["outer foot right"] + shift, at["leg top right"] + shift)
    result = traced([*dummy(at, rng), inner])
    assert [p.name for p in result.layout.panels if p.role is Role.LEG] == [
        "leg left",
        "leg 1 right",
        "leg 2 right",
    ]
    assert np.hypot(*(result.at_mm["outer foot 2 right"] - at["outer foot right"])) < 1.5
    assert result.lengths["page spacing 1 right"] == ("inner foot right", "outer foot 1 right")
    assert result.lengths["plane spacing 2 right"] == ("ridge", "leg top 2 right")


def test_the_fore_edge_of_a_page_is_no_leg() -> None:
    rng = np.random.default_rng(6)
    at = joints_at()
    # The true leg is gone; the page's fore edge, strong and long, leans the same way.
    stripes = [s for s in dummy(at, rng) if s.curve.a[0] > at["outer foot left"][0] + 3]
    stripes.append(stripe(at["spine"], at["fore edge left"]))
    result = traced([*stripes, back(at["fore edge left"], 0.16)])
    assert not any(p.name.startswith("leg") and p.name.endswith("left") for p in result.layout.panels)


def test_the_plane_ends_where_an_edge_runs_back_from_it() -> None:
    rng = np.random.default_rng(7)
    at = joints_at()
    far = at["plane edge right"] + np.array([30.0, 0.0])
    without = [s for s in dummy(at, rng) if s.curve.length > 0]
    beyond = stripe(at["plane edge right"], far)  # the table's edge goes on in the plane's line
    result = traced([*without, beyond, back(at["plane edge right"]), back(at["plane edge left"])])
    check_joints(result, at, ["plane edge left", "plane edge right"], within=2.0)
    assert result.unsure == frozenset()
    assert traced([*without, beyond]).unsure == {"plane edge left", "plane edge right"}


def test_a_printed_line_of_the_sheet_behind_is_no_corner() -> None:
    rng = np.random.default_rng(9)
    at = joints_at()
    beyond = at["plane edge right"] + np.array([9.0, 0.0])
    printed = replace(back(beyond), printed=True, score=400.0)
    seen = [*dummy(at, rng), stripe(at["plane edge right"], beyond + (8.0, 0.0)), printed]
    assert "plane edge right" in traced(seen).unsure
    assert "plane edge right" not in traced([*seen, back(at["plane edge right"])]).unsure


def test_a_fold_with_a_plane_on_the_plane_is_an_upper_stage() -> None:
    rng = np.random.default_rng(8)
    at = joints_at()
    above = {k: at["ridge"] + np.array([0.5, 0.5]) * (p - at["spine"]) for k, p in at.items()}
    upper = [s for s in dummy(above, rng) if s.curve.points(np.array([0.5]))[0][1] > at["ridge"][1] + 5]
    assert traced([*dummy(at, rng), *upper, *clutter(rng)]).upper
    for seed in range(4):
        rng = np.random.default_rng(seed)
        assert not traced([*dummy(at, rng), *clutter(rng)]).upper


def test_a_spine_that_is_marked_parts_the_pages() -> None:
    rng = np.random.default_rng(10)
    at = joints_at()
    pages = Pages(
        left=Curve(a=at["spine"], b=at["fore edge left"]),
        right=Curve(a=at["spine"], b=at["fore edge right"]),
        flat=True,
        score=300.0,
        spine=at["spine"],
    )
    # Another line under the page, strong and long, such as the page's edge in front of the near ends.
    low = [stripe(at["fore edge left"] - (0, 4.0), at["fore edge right"] - (0, 4.0), 4000.0)]
    shape = assemble(sorted([*dummy(at, rng), *low], key=lambda s: -s.score), None, EYE, pages)
    assert shape is not None and shape.spine_seen
    result = traced_of(shape, Card())
    check_joints(result, at, [*STANDING, "spine"], within=1.0)
    assert {"feet", "foot left", "foot right"} <= set(result.lengths)
    assert result.layout.opening_deg == pytest.approx(180.0, abs=0.1)
    # Both sides of a fold on one page are no fold.
    aside = replace(pages, spine=at["spine"] + (20.0, 0.0))
    assert assemble(dummy(at, rng), None, EYE, aside) is None


def test_no_fold_no_dummy() -> None:
    at = joints_at()
    lying = [
        stripe(at["fore edge left"], at["fore edge right"]),
        stripe(at["outer foot left"], at["leg top left"]),
    ]
    assert assemble(lying, -105.0, EYE) is None
    assert assemble([], -105.0, EYE) is None


def test_edges_that_run_back_aim_at_the_eye_and_legs_do_not() -> None:
    at = joints_at()
    assert aims_at(back(at["fore edge left"]).curve, EYE)
    assert aims_at(back(at["plane edge right"]).curve, EYE)
    assert not aims_at(Curve(a=at["outer foot right"], b=at["leg top right"]), EYE)
