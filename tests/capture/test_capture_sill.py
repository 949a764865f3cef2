"""The sheet stands on the page: pictures in which fold, page and camera are known exactly."""

from functools import lru_cache

import numpy as np
import pytest

from capture.camera.adjust import solve_view
from capture.camera.known_page import PageSide
from capture.camera.page_from_sill import LYING
from capture.camera.view import View
from capture.lens_hint import Exif
from capture.photo import photo_of_array
from capture.sheet.marker_sheet import SHEETS
from capture.sheet.print_scale import PrintScale
from capture.sheet.sill import SILL_SHEETS, folded_band, printed_sill
from capture.sight.sighting import Sighting, find_sheet
from tests.capture.test_capture_scene import camera, picture
from tests.helpers.drawn_sill import Lies, doorstep_picture, folded_picture

PRINT = PrintScale(across=1.0, up=1.0, across_sd=3e-4, up_sd=3e-4, measured=True)
SIZE = (2400, 1800)
HALVES = (
    Lies(height_mm=-62.8, slope=0.002, spring_deg=0.6),
    Lies(height_mm=-63.3, slope=-0.003, spring_deg=1.2),
)


def look(elevation_deg: float, aside_mm: float = 40.0) -> View:
    """Camera 0.7 m away, so many degrees above the page."""
    angle = np.radians(elevation_deg)
    eye = (aside_mm, -63 + 700 * np.sin(angle), 700 * np.cos(angle))
    return camera(eye=eye, target=(0, -10), roll_deg=1.0, f35_mm=52, size=SIZE, k1=-0.03)


@lru_cache(maxsize=4)
def solved(kind: str, elevation_deg: float) -> tuple[View, Sighting, View, tuple[Lies, ...]]:
    """True view, sighting, solved view and how the pieces lie."""
    truth = look(elevation_deg)
    sheet = SILL_SHEETS["a4"] if kind == "sill" else SHEETS["a4"]
    sill = printed_sill(sheet) if kind == "sill" else folded_band(sheet)
    lies = HALVES if kind == "sill" else (Lies(height_mm=-71.7, slope=0.002, spring_deg=0.9),)
    image = folded_picture(truth, sheet, sill, lies, noise=3.0, rng=np.random.default_rng(3))
    photo = photo_of_array(image, name="p.png", exif=Exif(focal_35_mm=53.0))
    found = find_sheet(photo)
    return truth, found, solve_view(photo, found, PRINT), lies


@pytest.mark.parametrize(("kind", "elevation_deg"), [("sill", 6.0), ("sill", 12.0), ("band", 10.0)])
def test_every_saddle_on_the_page_is_found_where_it_is(kind: str, elevation_deg: float) -> None:
    truth, found, _, lies = solved(kind, elevation_deg)
    assert [len(seen.px) for seen in found.sill] == ([20, 20] if kind == "sill" else [22])
    assert found.sheet is (SILL_SHEETS["a4"] if kind == "sill" else SHEETS["a4"])
    assert not found.bottom_band_seen
    for seen, how in zip(found.sill, lies, strict=True):
        off = seen.px - truth.project(how.at(seen.xy_mm))
        assert np.abs(off.mean(axis=0)).max() < 0.03
        assert np.sqrt(np.mean(off[:, 1] ** 2)) < 0.04  # up and down: that is what tells the page's height
        assert np.sqrt(np.mean(off**2)) < 1.2 * np.median(seen.sigma_px) + 0.02


def true_heights(side: PageSide, how: Lies) -> np.ndarray:
    """Heights (2,) of the paper's lower face at the fold, where the page's line is told."""
    x = side.corners_mm[:2, 0]
    out: np.ndarray = how.height_mm + how.slope * x - LYING.paper_mm
    return out


@pytest.mark.parametrize("elevation_deg", [6.0, 12.0])
def test_each_half_of_the_sill_tells_its_page_and_the_focal_length(elevation_deg: float) -> None:
    truth, _, view, lies = solved("sill", elevation_deg)
    page = view.page
    assert page is not None and page.source == "sill" and page.has_tick
    for side, how in zip(page.sides, lies, strict=True):
        line, cov = side.line_at(0.0)
        assert np.abs(line[:, 1] - true_heights(side, how)).max() < 0.05
        flat = np.hypot(LYING.height_sd, LYING.end_sd)
        assert np.all(np.sqrt(np.diag(cov)) > flat) and np.all(np.sqrt(np.diag(cov)) < flat + 0.05)
    focal = view.params[6] - truth.params[6]
    assert abs(focal) < 3e-3  # told by EXIF 1.9 % wrong
    assert abs(focal) < 2.5 * np.sqrt(view.cov[6, 6])
    assert page.spine_sd_mm == pytest.approx(0.35)


def test_a_band_folded_by_hand_tells_the_page_too() -> None:
    _, _, view, lies = solved("band", 10.0)
    page = view.page
    assert page is not None and page.source == "band" and not page.has_tick
    for side in page.sides:
        line, _ = side.line_at(0.0)
        # at its outer end it lies on the page; over the gully it bridges
        off = line[:, 1] - true_heights(side, lies[0]) + [LYING.bridging_mm, 0.0]
        assert np.abs(off).max() < 0.2


def test_the_page_rises_toward_the_camera_as_the_sill_springs_up() -> None:
    _, _, view, lies = solved("sill", 12.0)
    assert view.page is not None
    for side, how in zip(view.page.sides, lies, strict=True):
        here, _ = side.line_at(0.0)
        there, _ = side.line_at(30.0)
        rise = np.degrees(np.arctan2(there[0, 1] - here[0, 1], 30.0))
        assert rise == pytest.approx(how.spring_deg, abs=0.3)
        assert side.points(side.weights_at(np.array([10.0]), 5.0))[0, [0, 2]] == pytest.approx([10.0, 5.0])


@pytest.mark.parametrize("arch", [False, True])
def test_an_unfolded_sheet_has_no_sill(arch: bool) -> None:
    view = camera(eye=(30.0, 60.0, 650.0), f35_mm=50.0, size=SIZE)
    image = picture(view, arch=arch, blur_px=0.8, noise=2.0, rng=np.random.default_rng(1), samples=2)
    found = find_sheet(photo_of_array(image, name="p.png"))
    assert found.sill == () and found.bottom_band_seen is not arch


def test_a_doorstep_tells_a_backdrop_its_near_ends_and_each_page() -> None:
    angle, far = np.radians(11.0), 90.0
    view = camera(
        eye=(30.0, -96 + 700 * np.sin(angle), far + 700 * np.cos(angle)),
        target=(0, -20), f35_mm=52, size=SIZE,
    )  # fmt: skip
    turns, slopes = [], (-0.05, 0.02)  # one page rises a little, the other falls
    for slope in slopes:
        along = np.array([1.0, slope, 0.0]) / np.hypot(1, slope)
        back = np.array([0.0, 0.0, -1.0])
        turns.append(np.column_stack([along, back, np.cross(along, back)]))
    tick = np.array([4.0, -96.0, far])
    image = doorstep_picture(view, [tick, tick], turns, np.random.default_rng(5))
    photo = photo_of_array(image, name="p.png", exif=Exif(focal_35_mm=53.0))
    found = find_sheet(photo)
    assert found.sill == () and [len(half.px) for half in found.doorstep] == [18, 18]
    page = solve_view(photo, found, PRINT).page
    assert page is not None and page.source == "doorstep" and page.near_gradient is not None
    sd = np.sqrt(page.near_sd_mm**2 - LYING.near_sd**2)
    assert abs(page.near_z_mm - LYING.near_mm - far) < 1.5 and sd < 2.0
    for side, slope in zip(page.sides, slopes, strict=True):
        line, _ = side.line_at(far)
        assert np.abs(line[:, 1] - (tick[1] - LYING.paper_mm + slope * (line[:, 0] - tick[0]))).max() < 0.35
    assert page.spine_mm[0] == pytest.approx(tick[0], abs=0.1)
