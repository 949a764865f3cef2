"""Stripes found with no layout: the test across, the best stretch along, near ends at known places."""

import numpy as np
import pytest

from capture.sheet.marker_sheet import SHEETS
from measure.edges.dark_line import DarkLine, columns, dark_line_evidence
from measure.edges.detectors import edges_of
from measure.edges.edge_evidence import Template
from measure.edges.stripe_evidence import near_end_evidence, two_steps_everywhere
from measure.geometry import Curve
from measure.measuring_plane import MeasuringPlane
from measure.region import Region
from measure.tracing.dark_lines_everywhere import dark_lines_everywhere
from measure.tracing.near_ends_in_rows import inked_lines, pale_edges
from measure.tracing.straight_stripes import (
    TUNED,
    Straight,
    Stripe,
    best_stretches,
    find_stripes,
    straight_on,
    without_pattern,
)
from tests.helpers.drawn_scene import close_camera, near_end_picture

TEMPLATE = Template(card_mm=0.3, blur_mm=0.12, depth_mm=60.0)


def plane_of(picture: np.ndarray, z_mm: float = 0.0) -> MeasuringPlane:
    view = close_camera()
    return MeasuringPlane(grey=picture, view=view, z_mm=z_mm, eye_mm=view.eye_mm())


def pale_stripes(plane: MeasuringPlane, region: Region) -> list[Stripe]:
    straight = straight_on(plane, region)
    return find_stripes(straight, pale_edges(edges_of(plane), TEMPLATE, straight))


@pytest.mark.parametrize("seed", range(4))
def test_best_stretch_is_the_largest_sum_over_any_run(seed: int) -> None:
    rng = np.random.default_rng(seed)
    lines = rng.normal(size=(17, 6)) - 0.2
    total, first, last = best_stretches(lines)
    for col in range(6):
        every = [
            (lines[i : j + 1, col].sum(), i, j) for i in range(17) for j in range(i, 17)
        ]  # all runs: 153
        best, i, j = max(every)
        assert total[col] == pytest.approx(best)
        assert (first[col], last[col]) == (i, j)


def test_a_column_with_nothing_above_zero_has_no_stretch() -> None:
    total, _, _ = best_stretches(np.full((5, 2), -1.0))
    assert np.all(total == 0)


def test_the_test_across_is_that_of_the_guided_measurement() -> None:
    rng = np.random.default_rng(2)
    rows = 0.3 + 0.1 * rng.random((3, 120))
    low, high = two_steps_everywhere(rows, TEMPLATE, TUNED.per_mm, 9.0)
    offsets = np.arange(120) / TUNED.per_mm
    guided = near_end_evidence(rows.astype(np.float32), offsets, TEMPLATE, 1.0, 9.0)
    n = (120 - guided.outer.shape[1]) // 2
    assert high[:, n:-n] == pytest.approx(guided.outer, rel=1e-4, abs=1e-5)
    assert low[:, n:-n] == pytest.approx(guided.inner, rel=1e-4, abs=1e-5)


@pytest.mark.parametrize("dark", ["neither", "low", "high"])
def test_ink_everywhere_is_ink_as_along_a_curve(dark: str) -> None:
    rng = np.random.default_rng(5)
    line = DarkLine(width_mm=0.35, blur_mm=0.1)
    x = (np.arange(180) - 90) / TUNED.per_mm
    sides, ink = columns(x, line.width_mm, line.blur_mm)
    left, right = {"neither": (0.4, 0.2), "low": (0.02, 0.3), "high": (0.3, 0.02)}[dark]
    rows = left * sides[:, 0] + right * sides[:, 2] + line.level * ink + rng.normal(0, 0.002, (4, 180))
    seen = dark_lines_everywhere(rows, line, TUNED.per_mm, 9.0)
    n = int(round(line.half_mm * TUNED.per_mm))
    for sign, edge in ((1.0, seen.edge_high), (-1.0, seen.edge_low)):
        along = dark_line_evidence(rows, x, line, sign, 9.0)
        assert seen.dip[:, n:-n] == pytest.approx(along.dip, abs=1e-3)
        assert edge[:, n:-n] == pytest.approx(along.edge, abs=1e-3)
    if dark == "neither":
        assert np.argmax(seen.dip, axis=1) == pytest.approx([90] * 4) and seen.dip.max() > 4.0
    else:  # only the face's step is left
        edge = seen.edge_low if dark == "low" else seen.edge_high
        assert abs(np.argmax(edge[:, 60:120], axis=1) - 30).max() <= 1


@pytest.mark.parametrize("degrees", [12.0, 90.0, 141.0])
def test_an_inked_near_end_in_any_direction_is_found_where_it_is(degrees: float) -> None:
    way = np.array([np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))])
    rng = np.random.default_rng(int(degrees))
    view = close_camera()
    middle = view.to_plane(np.array([[279.5, 149.5]]))[0]
    curve = Curve(a=middle - 10 * way, b=middle + 10 * way)
    picture = near_end_picture(view, curve, (0.45, 0.02, 0.3), noise=0.004, rng=rng)
    x, y = middle
    plane = plane_of(picture)
    straight = straight_on(plane, Region(left=x - 26, right=x + 26, bottom=y - 13, top=y + 13, table_mm=None))
    found = find_stripes(straight, inked_lines(DarkLine(width_mm=0.3, blur_mm=0.12), straight))
    best = found[0].curve
    assert abs(float(best.normal @ way)) < np.sin(np.deg2rad(1.0))
    assert np.max(np.abs((best.points(np.array([0.2, 0.5, 0.8])) - curve.a) @ curve.normal)) < 0.25
    along = np.sort((np.array([best.a, best.b]) - curve.a) @ curve.tangent)
    assert along[0] < 2.5 and along[1] > 17.5


@pytest.mark.parametrize("degrees", [0.0, 17.3, 45.0, 88.0, 90.0, 131.0, 179.0])
def test_a_near_end_in_any_direction_is_found_where_it_is(degrees: float) -> None:
    way = np.array([np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))])
    rng = np.random.default_rng(int(degrees))
    view = close_camera()
    h, w = view.size[1], view.size[0]
    middle = view.to_plane(np.array([[(w - 1) / 2, (h - 1) / 2]]))[0] + rng.uniform(-0.3, 0.3, 2)
    curve = Curve(a=middle - 10 * way, b=middle + 10 * way)
    picture = near_end_picture(view, curve, (0.45, 0.62, 0.08), noise=0.004, rng=rng)
    x, y = middle
    region = Region(left=x - 26, right=x + 26, bottom=y - 13, top=y + 13, table_mm=None)
    plane = plane_of(picture)
    # The picture's own two edges beyond the card's ends are long steps, too.
    found = [s.curve for s in pale_stripes(plane, region)[:3]]
    best = min(found, key=lambda c: abs(float(c.normal @ way)))
    assert abs(float(best.normal @ way)) < np.sin(np.deg2rad(1.0))
    off = (best.points(np.array([0.2, 0.5, 0.8])) - curve.a) @ curve.normal
    # Half a sample of the straightened picture, and half a slant step over its length.
    assert np.max(np.abs(off)) < 0.25
    along = np.sort((np.array([best.a, best.b]) - curve.a) @ curve.tangent)
    assert along[0] < 2.5 and along[1] > 17.5


def test_a_blank_picture_has_no_stripes() -> None:
    rng = np.random.default_rng(1)
    picture = np.asarray(0.4 + 0.004 * rng.normal(size=(300, 560)), dtype=np.float32)
    plane = plane_of(picture)
    x, y = plane.view.to_plane(np.array([[280.0, 150.0]]))[0]
    region = Region(left=x - 26, right=x + 26, bottom=y - 13, top=y + 13, table_mm=None)
    assert pale_stripes(plane, region) == []
    straight = straight_on(plane, region)
    assert find_stripes(straight, inked_lines(DarkLine(width_mm=0.3, blur_mm=0.1), straight)) == []


def test_masked_parts_are_not_valid() -> None:
    plane = plane_of(np.full((300, 560), 0.4, dtype=np.float32))
    x, y = plane.view.to_plane(np.array([[280.0, 150.0]]))[0]
    mask = (x - 20, x - 10, y - 20, y + 20)
    region = Region(left=x - 20, right=x + 20, bottom=y - 10, top=y + 10, table_mm=None, masked=(mask,))
    straight: Straight = straight_on(plane, region)
    assert not straight.valid[:, 5].any()
    assert straight.valid[60, 120] == 1


def test_lines_of_the_sheet_behind_count_little() -> None:
    sheet, z = SHEETS["a4"], 80.0
    plane = plane_of(np.zeros((300, 560), dtype=np.float32), z_mm=z)
    shrink = (plane.eye_mm[2] - z) / plane.eye_mm[2]

    def seen(x: float, y: float) -> np.ndarray:
        out: np.ndarray = plane.eye_mm[:2] + (np.array([x, y]) - plane.eye_mm[:2]) * shrink
        return out

    grid = -sheet.n_rows * sheet.square_mm / 2 + 3 * sheet.square_mm
    printed = Stripe(curve=Curve(a=seen(-60, grid), b=seen(40, grid)), score=100.0)
    between = Stripe(curve=Curve(a=seen(-60, grid + 5), b=seen(40, grid + 5)), score=90.0)
    slanting = Stripe(curve=Curve(a=seen(-60, grid), b=seen(40, grid + 6)), score=80.0)
    scores = [s.score for s in without_pattern([printed, between, slanting], plane, sheet)]
    assert scores == pytest.approx([90.0, 80.0, 35.0])
    flush = plane_of(np.zeros((300, 560), dtype=np.float32))
    assert without_pattern([printed], flush, sheet) == [printed]
