"""The solved camera: recovery within its covariance, priors, outliers, refusals."""

import cv2
import numpy as np
import pytest

from capture.camera.adjust import solve_view
from capture.camera.view import View
from capture.camera.view_checks import tilt_deg
from capture.camera.view_facts import LensHinted, MarksLeftOut, PrintTaken
from capture.camera.view_problem import PRIORS
from capture.errors import SheetError
from capture.lens_hint import Exif
from capture.photo import Photo, photo_of_array
from capture.sheet.marker_sheet import SHEETS, MarkerSheet
from capture.sheet.print_scale import UNMEASURED_SD, PrintScale
from capture.sight.sighting import Sighting, find_sheet
from compare.tell.words.photos.view_words import view_note
from tests.capture.test_capture_scene import PHONE, camera, picture, true_saddles

A4 = SHEETS["a4"]
KNOWN = PrintScale(across_sd=3e-4, up_sd=3e-4, measured=True)


def blank(f35_mm: float | None = 50.0, size: tuple[int, int] = PHONE) -> Photo:
    image = np.zeros(size[::-1], np.uint8)
    return photo_of_array(image, name="t.jpg", exif=Exif(focal_35_mm=f35_mm))


def sighting_of(
    px: np.ndarray, sigma: float, sheet: MarkerSheet = A4, index: np.ndarray | None = None
) -> Sighting:
    """Wrap given pixels of the sheet's saddles as if they had been found in a photo."""
    index = np.arange(len(px)) if index is None else index
    h, _ = cv2.findHomography(sheet.saddles[index], px, 0)
    return Sighting(
        sheet=sheet,
        index=index,
        xy_mm=sheet.saddles[index],
        px=px,
        sigma_px=np.full(len(px), sigma),
        H_img_sheet=np.asarray(h),
        blur_px=0.8,
        contrast=180.0,
        clipped=0.0,
        n_tags=len(px),
        n_bottom_band=0,
        bottom_band_seen=False,
    )


def drawn_camera(rng: np.random.Generator, f35: float = 50.0) -> View:
    """A camera whose lens and print are drawn from the priors that the adjustment states."""
    tilt, way = np.radians(rng.uniform(3, 20)), rng.uniform(0, np.pi)
    dist = rng.uniform(500, 900)
    return camera(
        eye=(dist * np.sin(tilt) * np.cos(way), dist * np.sin(tilt) * np.sin(way), dist * np.cos(tilt)),
        roll_deg=rng.normal(0, 4),
        f35_mm=f35 * np.exp(rng.normal(0, blank(f35).lens.rel_sd)),
        k1=rng.normal(0, PRIORS.k1_sd),
        k2=rng.normal(0, PRIORS.k2_sd),
        centre_px=tuple(rng.normal(0, PRIORS.centre_sd * 4000, 2)),
        print_scale=tuple(np.exp(rng.normal(0, UNMEASURED_SD, 2))),
    )


def test_normalised_errors_squared_are_about_one() -> None:
    """Over draws from the stated priors: each lens parameter, and points in planes at 0 and 60 mm.

    (Not all 13 unknowns together: the valley that couples turn, focal length and principal point is curved,
    and far out on it the linear covariance says nothing.)
    """
    rng = np.random.default_rng(17)
    lens, plane = [], []
    grid = np.stack(np.meshgrid([-110.0, 0.0, 110.0], [-70.0, 0.0, 70.0]), axis=-1).reshape(-1, 2)
    for _ in range(150):
        truth = drawn_camera(rng)
        printed = A4.saddles * np.exp(truth.params[11:13]) + rng.normal(0, 0.01, (70, 2))
        px = truth.project(np.column_stack([printed, np.zeros(70)])) + rng.normal(0, 0.05, (70, 2))
        view = solve_view(blank(), sighting_of(px, 0.05))
        lens.append((view.params - truth.params)[6:13] ** 2 / np.diag(view.cov)[6:13])
        both = []
        for z_mm in (0.0, 60.0):
            pixels = truth.project(np.column_stack([grid, np.full(9, z_mm)]))
            off = view.to_plane(pixels, z_mm) - grid
            jac = view.plane_jacobian(grid, z_mm)
            cov = np.einsum("nij,jk,nlk->nil", jac, view.cov, jac)
            both.append(np.mean(np.einsum("ni,nij,nj->n", off, np.linalg.inv(cov), off)) / 2)
        plane.append(both)
    # the mean of 150 squares of a normal has sd 0.12
    assert np.all(np.mean(lens, axis=0) > 0.65) and np.all(np.mean(lens, axis=0) < 1.4)
    assert np.all(np.mean(plane, axis=0) > 0.65) and np.all(np.mean(plane, axis=0) < 1.4)


@pytest.mark.parametrize("f35_known", [True, False])
def test_camera_of_a_rendered_picture_is_recovered(f35_known: bool) -> None:
    truth = camera(
        eye=(60.0, 120.0, 600.0), roll_deg=2.0, f35_mm=51.0, k1=-0.08, k2=0.05, print_scale=(1.004, 0.997)
    )
    image = picture(truth, blur_px=1.0, noise=3.0, samples=2, rng=np.random.default_rng(2))
    taken = photo_of_array(image, name="t.jpg", exif=Exif(focal_35_mm=50.0 if f35_known else None))
    found = find_sheet(taken)
    bars = PrintScale.from_bars(found.sheet, 150 * 1.004, 100 * 0.997, reading_sd_mm=0.05)
    view = solve_view(taken, found, bars)
    assert view.rms_px < 0.05 and view.n_saddles >= 68
    grid = np.stack(np.meshgrid([-110.0, 0.0, 110.0], [-70.0, 0.0, 70.0]), axis=-1).reshape(-1, 2)
    for z_mm, allowed in ((0.0, 0.02), (60.0, 0.3)):
        pixels = truth.project(np.column_stack([grid, np.full(9, z_mm)]))
        off = view.to_plane(pixels, z_mm) - grid
        assert np.abs(off - (off.mean(axis=0) if z_mm else 0)).max() < allowed
    assert abs(np.exp(view.params[6] - truth.params[6]) - 1) < (0.03 if f35_known else 0.06)
    (lens,) = (n for n in view.notes if isinstance(n, LensHinted))
    assert (lens.hint.focal_px is not None) is f35_known and ("EXIF" in view_note(lens)) is f35_known
    assert any("measured, 1.0040 across and 0.9970 up" in view_note(n) for n in view.notes)


def test_print_scale_unmeasured_is_in_the_covariance_and_the_notes() -> None:
    px = true_saddles(camera(), A4)
    free = solve_view(blank(), sighting_of(px, 0.02))
    bound = solve_view(blank(), sighting_of(px, 0.02), KNOWN)
    point = np.array([[100.0, 0.0]])

    def sd(view: View) -> float:
        jac = view.plane_jacobian(point)[0]
        return float(np.sqrt((jac @ view.cov @ jac.T)[0, 0]))

    assert sd(free) == pytest.approx(100 * UNMEASURED_SD, rel=0.35)
    assert sd(bound) == pytest.approx(100 * 3e-4, rel=0.35)
    assert any(isinstance(n, PrintTaken) for n in free.notes)


def test_residuals_larger_than_stated_enlarge_the_covariance_and_smaller_do_not_shrink_it() -> None:
    rng = np.random.default_rng(4)
    exact = true_saddles(camera(k1=0.02), A4)
    noisy = solve_view(blank(), sighting_of(exact + rng.normal(0, 0.2, exact.shape), 0.05), KNOWN)
    fair = solve_view(blank(), sighting_of(exact + rng.normal(0, 0.2, exact.shape), 0.2), KNOWN)
    quiet = solve_view(blank(), sighting_of(exact, 0.2), KNOWN)
    assert noisy.cov[9, 9] > 0.5 * fair.cov[9, 9]
    assert quiet.cov[9, 9] == pytest.approx(fair.cov[9, 9], rel=0.3)


def test_wrong_saddles_are_left_out_and_counted() -> None:
    truth = camera(eye=(30.0, 80.0, 550.0), k1=-0.05)
    px = true_saddles(truth, A4) + np.random.default_rng(1).normal(0, 0.03, (70, 2))
    px[[3, 20, 44]] += [[4.0, -3.0], [0.0, 9.0], [-2.0, -2.0]]
    view = solve_view(blank(), sighting_of(px, 0.03), KNOWN)
    assert view.n_saddles == 67 and view.rms_px < 0.05
    assert MarksLeftOut(3) in view.notes


@pytest.mark.parametrize("f35", [18.0, 26.0, 52.0, 120.0])
def test_focal_length_is_found_without_any_hint(f35: float) -> None:
    focal_mm = 600 * f35 / 50
    truth = camera(eye=(0.25 * focal_mm, 0.2 * focal_mm, focal_mm), f35_mm=f35, roll_deg=125.0, k1=0.03)
    view = solve_view(blank(None), sighting_of(true_saddles(truth, A4), 0.02), KNOWN)
    assert view.params[6] == pytest.approx(truth.params[6], abs=0.01)
    assert tilt_deg(view) == pytest.approx(tilt_deg(truth), abs=0.3)


def bowed(shape: np.ndarray) -> Sighting:
    truth = camera(eye=(0.0, 100.0, 600.0))
    return sighting_of(truth.project(np.column_stack([A4.saddles, shape])), 0.03)


def test_slightly_bowed_sheet_is_allowed_for_and_mentioned() -> None:
    """Paper bent to part of a cylinder, 1.2 mm high: ignored, it would cost a third of a mm."""
    x = A4.saddles[:, 0] / 126
    view = solve_view(blank(), bowed(1.2 * (x * x - np.mean(x * x))), KNOWN)
    grid = np.stack(np.meshgrid([-100.0, 0.0, 100.0], [-60.0, 0.0, 60.0]), axis=-1).reshape(-1, 2)
    pixels = camera(eye=(0.0, 100.0, 600.0)).project(np.column_stack([grid, np.zeros(9)]))
    assert np.abs(view.to_plane(pixels) - grid).max() < 0.03
    assert view.rms_px < 0.05
    assert view.bow_mm == pytest.approx(1.2, abs=0.25)


def test_curled_sheet_is_refused() -> None:
    x, y = A4.saddles.T
    with pytest.raises(SheetError, match=r"t\.jpg: the sheet is bowed by about [5-9] mm"):
        solve_view(blank(), bowed(8.0 * (1 - (x / 138) ** 2)), KNOWN)
    with pytest.raises(SheetError, match=r"t\.jpg: the marks do not lie on one plane .* flatten it"):
        solve_view(blank(), bowed(8.0 * np.sin(x / 30) * np.cos(y / 30)), KNOWN)


def test_oblique_and_distant_views_are_refused() -> None:
    slant = camera(eye=(500.0, 50.0, 400.0))
    with pytest.raises(
        SheetError, match=r"seen 51 degrees from the side, over 40; photograph it more squarely"
    ):
        solve_view(blank(), sighting_of(true_saddles(slant, A4), 0.03), KNOWN)
    far = camera(eye=(0.0, 200.0, 5000.0))
    with pytest.raises(SheetError, match=r"only 1\.2 pixels per mm, under 1\.5; go nearer"):
        solve_view(blank(), sighting_of(true_saddles(far, A4), 0.03), KNOWN)


@pytest.mark.parametrize(("left", "top"), [(700, 0), (0, 500), (600, 450)])
def test_a_cropped_photo_still_measures_within_its_uncertainty(left: int, top: int) -> None:
    """What was cut off is not known: the picture's middle is no longer where the lens points."""
    truth = camera(eye=(60.0, 100.0, 700.0), target=(40.0 if left else 0.0, -20.0), k1=-0.06)
    px = true_saddles(truth, A4) - [left, top]
    size = (3200, 2300)
    seen = (px > 5).all(axis=1) & (px < np.array(size) - 5).all(axis=1)
    exif = Exif(focal_35_mm=50.0, stored_size=PHONE)
    cropped = photo_of_array(np.zeros(size[::-1], np.uint8), name="c.jpg", exif=exif)
    rng = np.random.default_rng(5)
    index = np.flatnonzero(seen)
    assert len(index) > 45
    noisy = px[index] + rng.normal(0, 0.05, (len(index), 2))
    view = solve_view(cropped, sighting_of(noisy, 0.05, index=index), KNOWN)
    told = view_note(view.notes[0])
    assert "cropped" in told and "uncropped original" in told
    grid = np.stack(np.meshgrid([-90.0, 0.0, 90.0], [-50.0, 0.0, 50.0]), axis=-1).reshape(-1, 2)
    off = view.to_plane(truth.project(np.column_stack([grid, np.zeros(9)])) - [left, top]) - grid
    jac = view.plane_jacobian(grid)
    sd = np.sqrt(np.einsum("nij,jk,nik->ni", jac, view.cov, jac))
    assert np.abs(off).max() < 0.1 and np.all(np.abs(off) < 3 * sd)


def test_check_bars_give_scale_and_doubt() -> None:
    scale = PrintScale.from_bars(A4, 150.6, 99.7, reading_sd_mm=0.1)
    assert (scale.across, scale.up) == pytest.approx((1.004, 0.997))
    assert (scale.across_sd, scale.up_sd) == pytest.approx((0.1 / 150, 0.1 / 100))
    assert scale.measured and not PrintScale().measured


@pytest.mark.parametrize(
    ("across", "up", "message"),
    [
        (100.0, 150.0, r"check bar across: 100 mm read where 150 mm is printed; measure from tick to tick"),
        (150.0, 3.94, r"check bar up: 3\.94 mm read where 100 mm"),
        (float("nan"), 100.0, r"check bar across: nan mm"),
    ],
)
def test_absurd_bar_readings_are_refused(across: float, up: float, message: str) -> None:
    with pytest.raises(SheetError, match=message):
        PrintScale.from_bars(A4, across, up)
    with pytest.raises(SheetError, match="uncertainty of a bar reading must be above 0"):
        PrintScale.from_bars(A4, 150, 100, reading_sd_mm=0)
