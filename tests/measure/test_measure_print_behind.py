"""A line of the sheet's print behind the dummy is no near end, however sharp it is."""

import numpy as np
import pytest

from capture.sheet.marker_sheet import sheet_for_paper
from measure.edges.detectors import edges_of
from measure.edges.edge_evidence import Template
from measure.edges.print_behind import without_print
from measure.edges.stations import outer_sign, stations_for
from measure.geometry import Curve
from measure.measuring_plane import MeasuringPlane
from measure.sheet_print import sheet_print
from tests.helpers.drawn_scene import BLUR_PX, close_camera, near_end_picture, plane_of

PX_PER_MM = 8.0
SHEET = sheet_for_paper("a4")
TEMPLATE = Template(card_mm=0.3, blur_mm=BLUR_PX / PX_PER_MM)
STANDOFF = 80.0


def behind(plane: MeasuringPlane, sheet_xy: tuple[float, float]) -> np.ndarray:
    """Where in the measuring plane a point of the sheet is seen."""
    eye = plane.eye_mm
    return eye[:2] + (np.array(sheet_xy) - eye[:2]) * (eye[2] - plane.z_mm) / eye[2]


@pytest.mark.parametrize("paper", ["a4", "letter", "a3", "tabloid"])
def test_the_drawn_sheet_has_its_steps_where_the_printed_one_has(paper: str) -> None:
    sheet = sheet_for_paper(paper)
    drawn = sheet_print(sheet)

    def step(x: float, y: float, *direction: float) -> float:
        return float(drawn.step_at(np.array([[[x, y]]]), np.array(direction))[0, 0])

    side = sheet.square_mm
    lowest = [(x, y) for x, y in sheet.black_squares if np.isclose(y, sheet.ring[1])]
    assert len(lowest) > 4
    for x, y in lowest:  # white margin below, white squares beside
        assert step(x + side / 2, y, 0, 1) > 0.8
        assert step(x, y + side / 2, 1, 0) > 0.8
        assert step(x + side / 2, y + side / 2, 0, 1) == 0
    assert step(0.0, -sheet.paper_mm[1] / 2, 0, 1) > 0.5
    assert step(0.0, 0.0, 0, 1) == 0


def evidence_at(y_off_mm: float) -> tuple[float, float]:
    """Evidence for a stripe that is seen so far above the paper's lower edge: before, after."""
    view = close_camera(PX_PER_MM)
    blank = plane_of(view, np.zeros((4, 4), np.float32))
    eye = view.eye_mm()
    plane = MeasuringPlane(grey=blank.grey, view=view, z_mm=STANDOFF, eye_mm=eye, behind=sheet_print(SHEET))
    lower = behind(plane, (0.0, -SHEET.paper_mm[1] / 2))[1] + y_off_mm
    curve = Curve(a=np.array([-20.0, lower]), b=np.array([20.0, lower]))
    flat = Curve(a=np.array([-15.0, -2.0]), b=np.array([15.0, -2.0]))
    seen = plane_of(view, near_end_picture(view, flat, (0.5, 0.45, 0.1), card_mm=TEMPLATE.card_mm))
    s = stations_for(flat, 1.0, 1.0)
    evidence = edges_of(seen).scan(flat, s, reach_mm=0.4, step_mm=0.05, template=TEMPLATE)
    kept = without_print(evidence, plane, curve, s, TEMPLATE, outer_sign(seen, flat))
    k = int(np.argmin(np.abs(evidence.offsets_mm)))
    return float(evidence.score[:, k].mean()), float(kept.score[:, k].mean())


def test_a_stripe_on_a_line_of_the_print_counts_little_and_one_beside_it_in_full() -> None:
    before, on_the_line = evidence_at(0.0)
    _, beside = evidence_at(3.0)
    assert before > 20
    assert on_the_line < 0.6 * before
    assert beside == pytest.approx(before)
