"""The shut dummy from above, on pictures integrated exactly: page outline, card beyond it, refusals."""

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.special import ndtr
from skimage.measure import find_contours

from capture.arrays import Array, Pixels
from capture.camera.view import View
from capture.errors import FoldgaugeError
from capture.photo import photo_of_array
from capture.setup import Setup
from capture.sheet.marker_sheet import SHEETS
from capture.solved import ClosedPlane, Solved
from compare.jobs.check_dummy import check
from compare.tell.check.check_json import inspection_dict
from compare.tell.check.check_page import report_html
from compare.tell.words.photos.measuring_words import measured_note
from compare.tell.words.photos.note_words import inspection_notes
from compare.units import MM
from measure.edges.silhouette import runs, silhouette
from measure.measure_errors import MeasureError
from measure.shut.shut_outline import outline_of
from tests.capture.test_capture_scene import camera

SIZE = (2000, 1500)
THICK = 2.4
FIELD, PAGE, CARD = 0.02, 0.62, 0.5
BLUR_PX = 1.1
PAGE_MM = (90.0, 70.0)


def from_above(tilt_mm: tuple[float, float] = (0.0, 0.0), roll_deg: float = 0.0) -> View:
    return camera(eye=(tilt_mm[0], tilt_mm[1], 620.0), roll_deg=roll_deg, f35_mm=60.0, size=SIZE)


def to_srgb(linear: Array) -> Pixels:
    """Eight-bit sRGB (IEC 61966-2-1) of linear light."""
    v = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 0) ** (1 / 2.4) - 0.055)
    return np.asarray(np.clip(np.round(255 * v), 0, 255), dtype=np.uint8)


def rectangle(
    view: View, z: float, origin: Array, turn: float, box: tuple[float, float, float, float]
) -> Array:
    """Coverage (H, W) of a box (x0, x1, y0, y1) in the dummy's frame, lying at height z, blurred."""
    w, h = view.size
    grid = np.stack(np.meshgrid(np.arange(w), np.arange(h)), axis=-1).reshape(-1, 2)
    mm = view.to_plane(grid, z) - origin
    c, s = np.cos(turn), np.sin(turn)
    x, y = mm[:, 0] * c + mm[:, 1] * s, -mm[:, 0] * s + mm[:, 1] * c
    sd = np.hypot(BLUR_PX, 12**-0.5) / view.px_per_mm(origin, z)
    x0, x1, y0, y1 = box
    cover = (ndtr((x - x0) / sd) - ndtr((x - x1) / sd)) * (ndtr((y - y0) / sd) - ndtr((y - y1) / sd))
    return np.asarray(cover.reshape(h, w))


def picture(
    view: View,
    *,
    pieces: list[tuple[float, float, float, float]],
    turn: float = 0.0,
    origin: Array | None = None,
    page: tuple[float, float] = PAGE_MM,
    card_z: float = THICK / 2,
    rng: np.random.Generator | None = None,
    levels: tuple[float, float, float] = (FIELD, PAGE, CARD),
) -> ClosedPlane:
    """A page of that size with pieces of card (boxes in its frame: spine and tail at the origin) under it."""
    at = np.array([-45.0, -36.0]) if origin is None else origin
    field, white, cream = levels
    light = np.full((view.size[1], view.size[0]), field)
    for box in pieces:
        cover = rectangle(view, card_z, at, turn, box)
        light = light * (1 - cover) + cream * cover
    cover = rectangle(view, THICK, at, turn, (0.0, page[0], 0.0, page[1]))
    light = light * (1 - cover) + white * cover
    if rng is not None:
        light = light + rng.normal(0, 0.006, light.shape)
    grey = to_srgb(light)
    bgr = np.repeat(grey[:, :, None], 3, axis=2)
    sighting: Any = SimpleNamespace(sheet=SHEETS["a4"])
    solved = Solved(photo=photo_of_array(bgr, name="shut.jpg"), sighting=sighting, view=view, setup=Setup())
    return ClosedPlane(
        solved=solved,
        top_mm=THICK,
        top_sd_mm=0.3,
        card_mm=THICK / 2,
        card_sd_mm=THICK / np.sqrt(12),
        notes=(),
    )


FORE = (40.0, 95.3, 10.0, 52.0)  # 5.3 mm beyond the fore edge, from 10 to 52 mm above the tail
HEAD = (20.0, 61.0, 30.0, 71.9)  # 1.9 mm beyond the head, from 20 to 61 mm from the spine


def test_page_and_pieces_where_they_are() -> None:
    out = outline_of(picture(from_above(), pieces=[FORE, HEAD]))
    assert out.size_mm == pytest.approx(PAGE_MM, abs=0.05)
    by_edge = {p.edge: p for p in out.beyond}
    assert set(by_edge) == {"fore edge", "head"} and len(out.beyond) == 2
    assert by_edge["fore edge"].amount_mm == pytest.approx(5.3, abs=0.1)
    assert (by_edge["fore edge"].from_mm, by_edge["fore edge"].to_mm) == pytest.approx((10, 52), abs=0.5)
    assert by_edge["head"].amount_mm == pytest.approx(1.9, abs=0.1)
    assert (by_edge["head"].from_mm, by_edge["head"].to_mm) == pytest.approx((20, 61), abs=0.5)
    assert out.corners_mm[0] == pytest.approx([-45.0, -36.0], abs=0.05)
    assert out.largest()["fore edge"] is by_edge["fore edge"]


def test_errors_are_as_large_as_stated() -> None:
    """Turned, tilted, shifted and noisy; card anywhere between the covers: pulls of unit size."""
    rng = np.random.default_rng(12)
    pulls = []
    for _ in range(16):
        amount = rng.uniform(0.9, 7.0)
        box = (40.0, PAGE_MM[0] + amount, rng.uniform(3, 20), rng.uniform(40, 66))
        plane = picture(
            from_above((rng.uniform(-70, 70), rng.uniform(-70, 70)), rng.uniform(-4, 4)),
            pieces=[box],
            turn=float(np.deg2rad(rng.uniform(-8, 8))),
            origin=np.array([-45.0, -36.0]) + rng.uniform(-6, 6, 2),
            card_z=rng.uniform(0, THICK),
            rng=rng,
        )
        (piece,) = outline_of(plane).beyond
        assert piece.edge == "fore edge"
        assert (piece.from_mm, piece.to_mm) == pytest.approx(box[2:], abs=0.8)
        pulls.append((piece.amount_mm - amount) / piece.u_mm)
    # The thickness is exact here and the floor for cut card (0.05 mm) is not needed: pulls below one are due.
    assert np.sqrt(np.mean(np.square(pulls))) < 1.2
    assert np.max(np.abs(pulls)) < 3


def test_nothing_beyond_is_nothing_told() -> None:
    rng = np.random.default_rng(1)
    out = outline_of(picture(from_above((40, -30), 2.0), pieces=[(10.0, 88.0, 5.0, 60.0)], rng=rng), PAGE_MM)
    assert out.beyond == () and out.notes == ()


def test_card_along_a_whole_edge_is_told_from_the_design_s_page() -> None:
    plane = picture(from_above(), pieces=[(40.0, 95.0, -0.0, 70.0)])
    out = outline_of(plane, PAGE_MM)
    (piece,) = out.beyond
    assert piece.edge == "fore edge" and piece.amount_mm == pytest.approx(5.0, abs=0.15)
    assert measured_note(out.notes[0], MM).startswith(
        "along the whole fore edge the outline lies 4.9 mm beyond a page of 90.0 mm"
    )
    # Without a design nothing tells card from a wider page.
    assert outline_of(plane).size_mm[0] == pytest.approx(95.0, abs=0.1)


def test_boards_round_a_thick_spine_are_no_card_at_the_fore_edge() -> None:
    """The spine's back lies 1.9 mm outside the page it was designed for; the page shows beside the card."""
    spine = (-1.9, 0.5, 0.0, 70.0)
    plane = picture(from_above(), pieces=[spine, FORE], card_z=THICK / 2)
    out = outline_of(plane, PAGE_MM)
    (piece,) = out.beyond
    assert piece.edge == "fore edge" and piece.amount_mm == pytest.approx(5.3, abs=0.1)
    assert measured_note(out.notes[0], MM).startswith("the page is seen 1.8 mm wider at the fore edge")
    # Nothing sticks out: a little wider is the spine, not card all along the edge.
    out = outline_of(picture(from_above(), pieces=[spine]), PAGE_MM)
    assert out.beyond == () and out.notes == ()


def test_the_silhouette_is_that_of_an_image_library_s_contour() -> None:
    """Outside check: skimage.measure.find_contours (marching squares), half level, the same grey values."""
    plane = picture(from_above(), pieces=[FORE])
    view = plane.solved.view
    light = rectangle(view, THICK, np.array([-45.0, -36.0]), 0.0, (0.0, 90.0, 0.0, 70.0))
    contour = max(find_contours(light, 0.5), key=len)[:, ::-1]
    mm = view.to_plane(contour, THICK)
    left = mm[(np.abs(mm[:, 1]) < 20) & (mm[:, 0] < 0), 0]
    out = outline_of(plane)
    assert out.corners_mm[[0, 3], 0].mean() == pytest.approx(left.mean(), abs=0.03)


@pytest.mark.parametrize("place", [-0.813, 0.0, 0.271, 3.077])
def test_a_blurred_edge_is_placed_to_a_hundredth(place: float) -> None:
    across = np.arange(-6.0, 12.0, 0.05)
    profile = 0.02 + 0.6 * ndtr((place - across) / 0.18)
    assert silhouette(profile, across, 0.02, 0.62) == pytest.approx(place, abs=0.01)


def test_the_shadow_of_the_page_on_the_card_is_not_its_end() -> None:
    across = np.arange(-6.0, 12.0, 0.05)
    profile = np.where(across < 0, 0.6, np.where(across < 1.2, 0.05, np.where(across < 4.0, 0.5, 0.02)))
    assert silhouette(profile, across, 0.02, 0.62) == pytest.approx(4.0, abs=0.05)
    farther = np.where((across > 7) & (across < 9), 0.6, profile)  # a printed line on the sheet
    assert silhouette(farther, across, 0.02, 0.62) == pytest.approx(4.0, abs=0.05)
    assert np.isnan(silhouette(np.full(len(across), 0.02), across, 0.02, 0.62))
    assert np.isnan(silhouette(np.full(len(across), 0.6), across, 0.02, 0.62))


def test_runs_of_true() -> None:
    assert runs(np.array([True, True, False, True])) == [(0, 1), (3, 3)]
    assert runs(np.array([False, False])) == []


def test_a_dark_dummy_and_one_over_the_ring_are_refused() -> None:
    with pytest.raises(
        MeasureError, match=r"shut\.jpg: no shut dummy stands out from the sheet's dark field"
    ):
        outline_of(picture(from_above(), pieces=[], levels=(0.02, 0.03, 0.03)))
    with pytest.raises(MeasureError, match="reaches over the ring of the sheet"):
        outline_of(picture(from_above(), pieces=[], page=(200.0, 70.0)))


SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"


@pytest.mark.photo
def test_the_sample_dummy_that_sticks_out_when_shut() -> None:
    truth = json.loads((SAMPLES / "oversize_shut.truth.json").read_text())
    open_truth = json.loads((SAMPLES / "oversize.truth.json").read_text())
    result = check(
        SAMPLES / "oversize.jpg",
        SAMPLES / "oversize.toml",
        Setup(bars_mm=open_truth["bars_read_mm"]),
        closed=SAMPLES / "oversize_shut.jpg",
        shut_mm=truth["thickness_mm"],
    )
    assert result.closed is not None
    (piece,) = result.closed.outline.beyond
    (wanted,) = truth["protrusions"]
    assert piece.edge == wanted["edge"]
    assert piece.amount_mm == pytest.approx(wanted["mm"], abs=2 * piece.u_mm)
    assert (piece.from_mm, piece.to_mm) == pytest.approx((wanted["from_mm"], wanted["to_mm"]), abs=1.0)
    (overhang,) = result.findings.overhangs
    assert overhang.edge == "right fore edge" and not overhang.disagrees
    assert inspection_notes(result)[0].startswith("Closed photo: card sticks out 5.")
    assert -min(i.measured for i in result.findings.clearances) == pytest.approx(piece.amount_mm)
    assert (
        "card beyond it" in (page := report_html(result)) and page.count("beyond the fore edge</title>") == 1
    )
    data = inspection_dict(result)["closed"]
    assert data["beyond"][0]["edge"] == "fore edge"
    assert data["page"]["width"]["measured"] == pytest.approx(truth["outline_mm"][0], abs=0.6)


@pytest.mark.photo
def test_a_photo_from_the_side_is_no_closed_photo() -> None:
    with pytest.raises(FoldgaugeError, match="shut dummy"):
        check(SAMPLES / "oversize.jpg", SAMPLES / "oversize.toml", closed=SAMPLES / "oversize.jpg")
