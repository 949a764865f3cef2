"""Choosing candidate lines together: evidence alone misleads, lengths put it right, one may be wrong."""

import numpy as np
import pytest

from measure.edges.candidate_lines import Candidate, best_lines, line_scores
from measure.geometry import Curve, cross_point
from measure.guided.choose_lines import Choice, PanelLines, choose, feet_pair
from measure.layout import Layout, Panel, Role
from tests.helpers.drawn_dummy import BASE, CARD, dummy_layout

ORDER = (Role.PAGE, Role.FOLD, Role.PLANE, Role.LEG)
PANEL_SCORE = 300.0


def items_for(
    seen: Layout,
    expected: Layout,
    decoys: dict[str, list[tuple[float, float, float]]] | None = None,
    rng: np.random.Generator | None = None,
) -> list[PanelLines]:
    """Candidates as a photo of `seen` gives them when `expected` is looked for: the true line of each panel,
    named decoys (d0, d1 off the true line, score), and random weaker lines.

    A page's true line lies below its joints by half of base and card; `hinge_mm` brings it up again.
    """
    decoys = decoys or {}
    out = []
    for panel in sorted(expected.panels, key=lambda p: ORDER.index(p.role)):
        base = Curve(a=expected.at(panel.joints[0]), b=expected.at(panel.joints[-1]))
        turned = panel.name == "page left"
        hinge = (-1.0 if turned else 1.0) * (BASE + CARD) / 2 if panel.role is Role.PAGE else 0.0
        # offsets of the true line at the ends of the expected one
        p, q = seen.at(panel.joints[0]), seen.at(panel.joints[-1])
        v = q - p
        d = [_offset(p, v, end, base) for end in (base.a, base.b)]
        lines = [Candidate(d0_mm=d[0] - hinge, d1_mm=d[1] - hinge, score=PANEL_SCORE)]
        for e0, e1, score in decoys.get(panel.name, []):
            lines.append(Candidate(d0_mm=d[0] - hinge + e0, d1_mm=d[1] - hinge + e1, score=score))
        if rng is not None:
            for _ in range(10):
                e0, e1 = rng.uniform(-6, 6, 2)
                weaker = float(rng.uniform(0.3, 0.8)) * PANEL_SCORE
                lines.append(Candidate(d0_mm=d[0] + e0, d1_mm=d[1] + e1, score=weaker))
        lines.sort(key=lambda c: -c.score)
        out.append(PanelLines(panel=panel, base=base, candidates=lines, hinge_mm=hinge))
    return out


def _offset(p: np.ndarray, v: np.ndarray, end: np.ndarray, base: Curve) -> float:
    """How far from `end` along the base's normal the line p + t v passes."""
    det = base.normal[0] * v[1] - base.normal[1] * v[0]
    gap = p - end
    return float((gap[0] * v[1] - gap[1] * v[0]) / det)


def wrong_panels(choice: Choice | None, items: list[PanelLines], seen: Layout) -> list[str]:
    """Panels for which another line than the true one was chosen."""
    assert choice is not None
    out = []
    for item in items:
        c = item.candidates[choice.index[item.panel.name]]
        n = item.base.normal
        ends = [item.base.a + (c.d0_mm + item.hinge_mm) * n, item.base.b + (c.d1_mm + item.hinge_mm) * n]
        p, q = seen.at(item.panel.joints[0]), seen.at(item.panel.joints[-1])
        side = np.array([-(q - p)[1], (q - p)[0]]) / np.hypot(*(q - p))
        if max(abs(float((e - p) @ side)) for e in ends) > 1e-6:
            out.append(item.panel.name)
    return out


def test_without_decoys_the_true_lines_are_chosen() -> None:
    layout = dummy_layout()
    items = items_for(layout, layout, rng=np.random.default_rng(41))
    choice = choose(layout, items)
    assert wrong_panels(choice, items, layout) == []
    assert choice is not None and choice.score == pytest.approx(8 * PANEL_SCORE, abs=1.0)
    assert set(choice.per_panel.values()) == {PANEL_SCORE}


@pytest.mark.parametrize("panel", [p.name for p in dummy_layout().panels if p.role is not Role.PAGE])
def test_one_panel_whose_best_line_is_wrong_is_put_right_by_the_others(panel: str) -> None:
    layout = dummy_layout()
    decoys = {panel: [(2.5, 2.5, PANEL_SCORE + 12), (-1.5, 3.0, PANEL_SCORE + 8)]}
    items = items_for(layout, layout, decoys, np.random.default_rng(42))
    assert next(i for i in items if i.panel.name == panel).candidates[0].score > PANEL_SCORE
    assert wrong_panels(choose(layout, items), items, layout) == []


def test_two_parallel_wrong_lines_at_once_are_put_right() -> None:
    # both legs' shadows, shifted the same way: each keeps its own length
    layout = dummy_layout()
    decoys = {f"leg {side}": [(1.8, 1.8, PANEL_SCORE + 10)] for side in ("right", "left")}
    items = items_for(layout, layout, decoys, np.random.default_rng(43))
    assert wrong_panels(choose(layout, items), items, layout) == []


@pytest.mark.parametrize("by_mm", [6.0, -6.0])
def test_one_length_may_be_as_wrong_as_six_millimetres(by_mm: float) -> None:
    expected = dummy_layout()
    x, y = expected.at("leg top right") - expected.at("outer foot right")
    # the right foot was glued 6 mm off, the leg stands where it stands
    seen = dummy_layout(outer_foot_right=(60.0 + by_mm, 0.0), leg_top_right=(60.0 + by_mm + x, y))
    rng = np.random.default_rng(44)
    items = items_for(seen, expected, rng=rng)
    assert wrong_panels(choose(expected, items), items, seen) == []


def test_a_wrong_length_is_not_believed_against_little_evidence() -> None:
    """The cap is a price, not a ban: a line off by 6 mm must be worth it."""
    layout = dummy_layout()
    for gain, wrong in ((10.0, []), (80.0, ["leg right"])):
        items = items_for(layout, layout, {"leg right": [(6.0, 6.0, PANEL_SCORE + gain)]})
        # two spacings change by 6 mm: twice 4 * 4 + 0.02 * 36 = 33.4
        assert wrong_panels(choose(layout, items), items, layout) == wrong


def test_flat_pages_go_straight_on() -> None:
    layout = dummy_layout()
    decoys = {"page left": [(0.9, 0.9, PANEL_SCORE + 15), (0.0, 3.0, PANEL_SCORE + 15)]}
    items = items_for(layout, layout, decoys)
    assert wrong_panels(choose(layout, items), items, layout) == []


def test_the_feet_on_both_sides_of_an_unseen_spine_are_a_length() -> None:
    layout = dummy_layout()
    assert feet_pair(layout) == [("inner foot right", "inner foot left")]
    # Same ridge, the foot 3 mm off: 4 * 4 for the page's spacing and some 6 for the fold would be worth 30;
    # as much again for the distance of the feet is not.
    narrow = {"fold right": [(3.0, 0.0, PANEL_SCORE + 30)]}
    items = items_for(layout, layout, narrow)
    assert wrong_panels(choose(layout, items), items, layout) == []


def test_nothing_to_combine_is_none() -> None:
    layout = dummy_layout()
    assert choose(layout, []) is None
    items = items_for(layout, layout)
    empty = PanelLines(panel=items[3].panel, base=items[3].base, candidates=[])
    assert choose(layout, [*items[:3], empty, *items[4:]]) is None


def test_parallel_lines_have_no_crossing_and_are_dear() -> None:
    p, v = np.zeros((2, 2)), np.array([[1.0, 0.0], [1.0, 0.0]])
    q, w = np.array([[0.0, 1.0], [0.0, 1.0]]), np.array([[1.0, 0.0], [0.0, 1.0]])
    xy = cross_point(p, v, q, w)
    assert np.all(~np.isfinite(xy[0])) and xy[1] == pytest.approx([0, 0])
    layout = dummy_layout()
    page, leg = layout.panels[0], layout.panels[3]
    across = Curve(a=layout.at("spine"), b=layout.at("fore edge right"))
    lying = Curve(a=layout.at("spine") + [0, 9], b=layout.at("fore edge right") + [0, 9])
    flat = Candidate(d0_mm=0, d1_mm=0, score=100.0)
    top = Panel(name="plane right", joints=("ridge", "leg top right"), role=Role.PLANE)
    plane = PanelLines(
        panel=top, base=Curve(a=layout.at("ridge"), b=layout.at("leg top right")), candidates=[flat]
    )
    items = [
        PanelLines(panel=page, base=across, candidates=[flat]),
        plane,
        PanelLines(panel=leg, base=lying, candidates=[flat]),
    ]
    choice = choose(layout, items)
    assert choice is not None and choice.score < 300 - 900


# Candidates -------------------------------------------------------------------------------------------------


def ridge_of_score(d0: float, d1: float, height: float, offsets: np.ndarray, s: np.ndarray) -> np.ndarray:
    at = d0 * (1 - s) + d1 * s
    return height * np.exp(-0.5 * ((offsets[None, :] - at[:, None]) / 0.15) ** 2)


def test_line_scores_are_the_sums_along_lines() -> None:
    offsets, s = np.arange(-50, 51) * 0.1, (np.arange(30) + 0.5) / 30
    score = np.random.default_rng(45).uniform(0, 1, (30, 101))
    sums = line_scores(score, offsets, s, 3.0, 2.0)
    assert sums.shape == (61, 61)
    for d0, d1 in ((0.0, 0.0), (-3.0, -1.2), (1.7, 0.4)):
        i, j = round((d0 + 3) * 10), round((d1 + 3) * 10)
        cols = np.rint(s * (d1 - d0) * 10).astype(int) + round((d0 + 5) * 10)
        assert sums[i, j] == pytest.approx(score[np.arange(30), cols].sum())
    assert sums[0, 60] == 0.0  # steeper than allowed


def test_best_lines_come_in_order_and_apart() -> None:
    offsets, s = np.arange(-80, 81) * 0.1, (np.arange(40) + 0.5) / 40
    score = (
        ridge_of_score(1.0, -2.0, 10.0, offsets, s)
        + ridge_of_score(-3.0, -5.0, 8.0, offsets, s)
        + ridge_of_score(4.0, 4.0, 5.0, offsets, s)
    )
    found = best_lines(line_scores(score, offsets, s, 6.0, 6.0), 6.0, 3, 0.5)
    assert [round(c.d0_mm, 1) for c in found] == pytest.approx([1.0, -3.0, 4.0], abs=0.11)
    assert [round(c.d1_mm, 1) for c in found] == pytest.approx([-2.0, -5.0, 4.0], abs=0.11)
    assert found[0].score > found[1].score > found[2].score > 0
    assert best_lines(np.zeros((21, 21)), 1.0, 4, 0.2) == []
