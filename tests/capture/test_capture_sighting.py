"""Saddles in pictures whose every corner is known exactly; and pictures that must be refused."""

from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import pyapriltags
import pypdfium2
import pytest

from capture.camera.adjust import solve_view
from capture.camera.view import View
from capture.errors import SheetError
from capture.photo import Photo, photo_of_array
from capture.sheet.apron import APRON
from capture.sheet.marker_sheet import SHEETS
from capture.sheet.sheet_pdf import write_sheet
from capture.sight.sighting import Sighting, find_sheet
from capture.sight.tags import find_tags
from tests.capture.test_capture_scene import (
    CELLS_PER_MM,
    camera,
    from_apron,
    picture,
    seen,
    sheet_cells,
    true_saddles,
)

CLEAN = camera(eye=(40.0, 70.0, 620.0), roll_deg=3.0, k1=-0.06, k2=0.03, centre_px=(7.3, -11.6))


@lru_cache(maxsize=1)
def clean_picture() -> np.ndarray:
    return picture(CLEAN, blur_px=0.7)


def photo(image: np.ndarray) -> Photo:
    return photo_of_array(image, name="t.jpg")


def errors(sighting: Sighting, view: View) -> np.ndarray:
    return sighting.px - true_saddles(view, sighting.sheet)[sighting.index]


def test_saddles_at_12_mp_are_right_to_a_hundredth_of_a_pixel() -> None:
    found = find_sheet(photo(clean_picture()))
    assert len(found.index) == 70 and found.bottom_band_seen and found.n_bottom_band == 20
    err = errors(found, CLEAN)
    assert np.abs(err.mean(axis=0)).max() < 0.01  # no half-pixel, no drift
    assert np.sqrt(np.mean(err**2)) < 0.03
    # OpenCV's own sub-pixel corner search on the same picture, started at the true places
    start = np.ascontiguousarray(true_saddles(CLEAN, found.sheet), dtype=np.float32).reshape(-1, 1, 2)
    opencv = cv2.cornerSubPix(clean_picture(), start, (5, 5), (-1, -1), (3, 50, 1e-4)).reshape(-1, 2)
    opencv_err = opencv - true_saddles(CLEAN, found.sheet)
    assert np.abs(opencv_err.mean(axis=0)).max() < 0.02  # an outside witness that the truth itself is right
    assert np.sqrt(np.mean(err**2)) < np.sqrt(np.mean(opencv_err**2))
    # errors do not depend on where in the pixel the saddle falls
    part = np.sin(2 * np.pi * found.px), np.cos(2 * np.pi * found.px)
    assert all(abs(np.mean(err * wave)) < 0.005 for wave in part)


def test_pixel_convention_agrees_with_an_independent_tag_detector() -> None:
    """The AprilTag library puts the first pixel's centre at 0.5 (its issue 121): half a pixel is taken off.

    Its refined tag corners come from straight fits to the tags' sides; the middle of a tag's four corners
    must agree with where the camera, solved from our saddles, says that it is.
    """
    taken = photo(clean_picture())
    view = solve_view(taken, find_sheet(taken))
    detector = pyapriltags.Detector(families="tag36h11", refine_edges=1)
    seen = {d.tag_id: np.asarray(d.corners) - 0.5 for d in detector.detect(clean_picture())}
    assert len(seen) == 70
    scale = np.exp(view.params[11:13])
    gaps = []
    for tag_id, corners in seen.items():
        nominal = np.column_stack([SHEETS["a4"].tags[tag_id] * scale, np.zeros(4)])
        gaps.append(corners.mean(axis=0) - view.project(nominal).mean(axis=0))
    assert np.abs(np.mean(gaps, axis=0)).max() < 0.02  # library's own bias on rendered tags: 0.001 px
    assert np.std(gaps) < 0.05  # and its scatter: 0.013 px


@pytest.mark.parametrize(
    ("paper", "roll", "eye", "f35", "size", "blur", "arch"),
    [
        ("letter", 180.0, (0.0, 150.0, 500.0), 26.0, (4000, 3000), 1.5, False),
        ("a3", 95.0, (-250.0, 60.0, 700.0), 35.0, (3000, 4000), 3.0, True),
        ("tabloid", -40.0, (120.0, 200.0, 1500.0), 50.0, (4000, 3000), 0.6, False),
        ("a4", 2.0, (250.0, 120.0, 480.0), 50.0, (4000, 3000), 2.0, True),
        ("a4", 0.0, (0.0, 100.0, 900.0), 26.0, (2400, 1800), 0.5, False),
    ],
)
def test_any_paper_angle_lens_and_blur(
    paper: str,
    roll: float,
    eye: tuple[float, float, float],
    f35: float,
    size: tuple[int, int],
    blur: float,
    arch: bool,
) -> None:
    view = camera(
        eye=eye, roll_deg=roll, f35_mm=f35, size=size, k1=0.04, k2=-0.05, print_scale=(1.003, 0.996)
    )
    image = picture(view, paper, arch=arch, blur_px=blur, noise=2.0, rng=np.random.default_rng(3), samples=2)
    found = find_sheet(photo(image))
    assert found.sheet is SHEETS[paper]
    expected = len(found.sheet.saddles) - (np.count_nonzero(found.sheet.in_bottom_band) if arch else 0)
    assert len(found.index) >= 0.95 * expected
    assert found.bottom_band_seen is not arch
    err = errors(found, view)
    assert np.sqrt(np.mean(err**2)) < 0.06 and np.abs(err).max() < 0.3


def test_saddle_sigma_is_honest() -> None:
    """Scatter over noise draws against the stated sigma, at a noise where the floor does not matter."""
    view = camera(size=(1400, 1050), f35_mm=50.0, eye=(10.0, 60.0, 700.0))
    still = picture(view, blur_px=1.0).astype(float)
    rng = np.random.default_rng(11)
    places, sigmas = [], []
    for _ in range(25):
        image = np.clip(np.rint(still + rng.normal(0, 8, still.shape)), 0, 255).astype(np.uint8)
        found = find_sheet(photo(image))
        row = np.full((70, 2), np.nan)
        row[found.index] = found.px
        places.append(row)
        sigmas.append(np.median(found.sigma_px))
    scatter = np.sqrt(np.nanmean(np.nanvar(np.array(places), axis=0, ddof=1)))
    assert 0.8 < np.median(sigmas) / scatter < 1.3  # 25 draws of 70 saddles fix the scatter to about 2 %


def test_hidden_and_glaring_saddles_are_left_out() -> None:
    image = clean_picture().astype(float)
    truth = true_saddles(CLEAN, SHEETS["a4"])
    hidden = np.zeros(70, dtype=bool)
    card = np.array([[700, 300], [1500, 500], [1400, 900], [600, 800]], np.int32)
    cv2.fillPoly(image, [card], 160.0)
    x, y = np.meshgrid(np.arange(4000), np.arange(3000))
    glare = 400 * np.exp(-((x - 3300) ** 2 + (y - 1500) ** 2) / 250.0**2)
    image = np.clip(image + glare, 0, 255).astype(np.uint8)
    for k, (px, py) in enumerate(truth):
        hidden[k] = cv2.pointPolygonTest(card.astype(np.float32), (float(px), float(py)), True) > -3
    assert 3 <= np.count_nonzero(hidden) < 30
    found = find_sheet(photo(image))
    assert not np.any(hidden[found.index])
    assert np.abs(errors(found, CLEAN)).max() < 0.1
    assert len(found.index) < 70 - np.count_nonzero(hidden)  # some drowned in the glare too
    assert len(found.index) > 40


def test_a_false_tag_does_not_upset_the_sheet() -> None:
    image = clean_picture().copy()
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    tag = cv2.aruco.generateImageMarker(dictionary, 33, 160)
    image[1300:1500, 1900:2100] = 235
    image[1320:1480, 1920:2080] = tag
    found = find_sheet(photo(image))
    assert len(found.index) == 70 and np.abs(errors(found, CLEAN)).max() < 0.05
    assert np.all(np.abs(find_tags(image, "t").corners_px.mean(axis=1) - [2000, 1400]).max(axis=1) > 60)


def refuse(image: np.ndarray, message: str) -> None:
    with pytest.raises(SheetError, match=message) as caught:
        find_sheet(photo(image))
    assert "\n" not in str(caught.value) and str(caught.value).startswith("t.jpg: ")


def test_no_sheet() -> None:
    texture = np.random.default_rng(5).integers(0, 255, (150, 200), dtype=np.uint8)
    refuse(cv2.resize(texture, (2000, 1500)), "no marker sheet found.*print one with 'foldgauge sheet'")


def test_mirrored_sheet() -> None:
    refuse(clean_picture()[:, ::-1], "the marker sheet is mirrored")


def test_half_a_sheet() -> None:
    image = clean_picture().copy()
    image[:, 1950:] = 90
    refuse(image, r"only part of the sheet is in view \(\d+ of the 70 marks .* show the whole ring")


def test_a_corner_of_a_sheet() -> None:
    image = clean_picture().copy()
    image[:, 1200:] = 90
    image[1000:] = 90
    refuse(image, r"only \d+ of the 70 marks of the a4 sheet are seen, 16 are needed")


def test_two_different_sheets() -> None:
    image = clean_picture().copy()
    other = picture(camera(size=(1600, 1100), eye=(0.0, 30.0, 600.0)), "letter", samples=2, blur_px=0.5)
    image[1000:2100, 1200:2800] = other
    refuse(image, r"tags of two different sheets \((a4 and letter|letter and a4)\)")


def test_a_hopelessly_blurred_sheet() -> None:
    image = cv2.GaussianBlur(clean_picture(), (0, 0), 16)
    refuse(image, "no marker sheet found.*sharp and large")


def test_a_sheet_too_dark_to_measure() -> None:
    image = (clean_picture() * 0.06).astype(np.uint8)
    refuse(image, "glaring or dark|no marker sheet found")


@pytest.mark.parametrize("how", ["plain", "jpeg", "scaled"])
def test_a_screenshot_of_the_sheet_is_no_photo(how: str, tmp_path: Path) -> None:
    write_sheet(tmp_path / "s.pdf", "a4")
    with pypdfium2.PdfDocument(tmp_path / "s.pdf") as document:
        page = np.asarray(document[0].render(scale=2.0, grayscale=True).to_numpy()).squeeze()
    shot = np.asarray(cv2.copyMakeBorder(page, 60, 90, 110, 300, cv2.BORDER_CONSTANT, value=(203.0,)))
    if how == "jpeg":
        shot = np.asarray(cv2.imdecode(cv2.imencode(".jpg", shot, [cv2.IMWRITE_JPEG_QUALITY, 80])[1], 0))
    if how == "scaled":
        shot = np.asarray(cv2.resize(shot, None, fx=0.85, fy=0.85, interpolation=cv2.INTER_AREA))
    with pytest.raises(SheetError, match=r"shot.png: this is the sheet itself, a screenshot .* print it"):
        find_sheet(photo_of_array(shot, name="shot.png"))


def test_the_calibration_board_is_not_the_sheet() -> None:
    image = picture(camera(eye=(40.0, 60.0, 500.0)), "board", blur_px=0.8, samples=2)
    with pytest.raises(SheetError, match=r"b.jpg: this shows the calibration board, .*'foldgauge camera'"):
        find_sheet(photo_of_array(image, name="b.jpg"))


@pytest.mark.parametrize(("pitch_mm", "distance"), [(0.277, 620.0), (0.161, 700.0), (0.1, 500.0)])
def test_a_sheet_on_a_screen_is_no_print(pitch_mm: float, distance: float) -> None:
    """Screens of 24 inch, 14 inch and a fine phone: red, green and blue stripes with dark gaps between."""
    cells = 15 + 220 * sheet_cells("a4").astype(np.float32) / 255
    y, x = ((np.arange(n) + 0.5) / CELLS_PER_MM / pitch_mm for n in cells.shape)
    luminance = np.array([0.3, 1.0, 0.45])[np.floor(3 * x).astype(int) % 3]
    stripes = np.where((3 * x) % 1 < 0.75, luminance, 0.05)
    rows = np.where(y % 1 < 0.8, 1.0, 0.05)
    lit = cells * stripes * rows[:, None] / (stripes.mean() * rows.mean())
    view = camera(eye=(30.0, 60.0, distance))
    origin = (cells.shape[1] / 2, cells.shape[0] / 2)
    shown = cv2.GaussianBlur(seen(view, lit.astype(np.float32), origin, 4, 60.0), (0, 0), 0.7)
    noisy = 0.8 * shown + np.random.default_rng(1).normal(0, 2, shown.shape)
    image = np.clip(noisy, 0, 255).astype(np.uint8)
    with pytest.raises(SheetError, match=r"m.jpg: the sheet is shown on a screen .* print the sheet"):
        find_sheet(photo_of_array(image, name="m.jpg"))
    paper = picture(view, blur_px=0.7, noise=2.0, rng=np.random.default_rng(1))
    assert find_sheet(photo_of_array(paper)).n_tags > 0


def test_a_distant_apron_is_found() -> None:
    view = camera(eye=(40.0, 100.0, 800.0), target=(0.0, -20.0), size=(2000, 1500))  # 3.6 px/mm
    apron_view = from_apron(view, np.array([3.0, -70.0, 0.3]), np.eye(3))
    strips = [(half, apron_view) for half in APRON]
    found = find_sheet(photo_of_array(picture(view, arch=True, blur_px=0.8, samples=2, aprons=strips)))
    assert [len(half.px) for half in found.apron] == [18, 18]
    for half in found.apron:
        truth = apron_view.project(np.column_stack([half.xy_mm, np.zeros(18)]))
        assert np.sqrt(np.mean((half.px - truth) ** 2)) < 0.03
