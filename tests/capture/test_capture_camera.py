"""A calibrated camera at work: file, fit to a photo (turned, scaled), refusals, and what it buys."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from capture.camera.adjust import solve_view
from capture.camera.calibrated_camera import FOCUS_SD, LENS, Camera, CameraError
from capture.camera.calibration.calibrate import calibrate_photos
from capture.camera.camera_file import read_camera, to_text, write_camera
from capture.camera.view import View
from capture.camera.view_facts import LensCalibrated
from capture.sheet.board import BOARD
from capture.sheet.marker_sheet import SHEETS
from capture.sheet.print_scale import PrintScale
from tests.capture.test_capture_adjust import sighting_of
from tests.helpers.drawn_boards import MODEL, SIZE, board_of, photo, round_the_board, truth

A4 = SHEETS["a4"]
BARS = PrintScale(across_sd=2e-4, up_sd=2e-4, measured=True)


@pytest.fixture(scope="module")
def calibrated() -> Camera:
    rng = np.random.default_rng(12)
    views = round_the_board(10, rng)
    photos = [board_of(v, f"{k}.jpg", rng, BOARD.saddles, 0.03) for k, v in enumerate(views)]
    return replace(calibrate_photos(photos, "phone.toml").camera, focal_35_mm=51.0)


def seen_by(view: View, rng: np.random.Generator) -> np.ndarray:
    px = view.project(np.column_stack([A4.saddles, np.zeros(len(A4.saddles))]))
    return np.asarray(px + rng.normal(0, 0.05, px.shape))


def test_file_brings_back_the_same_camera(calibrated: Camera, tmp_path: Path) -> None:
    write_camera(calibrated, tmp_path / "phone.toml")
    again = read_camera(tmp_path / "phone.toml")
    assert np.array_equal(again.params, calibrated.params)
    assert again.cov == pytest.approx(calibrated.cov, rel=1e-12)
    assert (again.model, again.size, again.focal_35_mm, again.name) == (MODEL, SIZE, 51.0, "phone.toml")
    write_camera(again, tmp_path / "phone.toml")
    assert (tmp_path / "phone.toml").read_text() == to_text(again)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("not = [toml", "is not a camera file"),
        ("format = 2", "format 2 is not known"),
        ("format = 1", "lens is missing"),
        ("covariance = [", "is not a"),
        ("SWAP", "not 8 x 8 and symmetric"),
        ("NEGATIVE", "not positive"),
    ],
)
def test_a_bad_file_is_refused_in_one_line(text: str, told: str, calibrated: Camera, tmp_path: Path) -> None:
    whole = to_text(calibrated)
    impossible = calibrated.cov.copy()
    impossible[0, 1] = impossible[1, 0] = 2 * np.sqrt(impossible[0, 0] * impossible[1, 1])
    content = {
        "SWAP": whole.replace("  [", "  [1.0, "),
        "NEGATIVE": to_text(replace(calibrated, cov=impossible)),
    }.get(text, text)
    path = tmp_path / "bad.toml"
    path.write_text(content)
    with pytest.raises(CameraError, match=told) as err:
        read_camera(path)
    assert "bad.toml" in str(err.value) and "\n" not in str(err.value)


def test_no_file_and_no_folder(calibrated: Camera, tmp_path: Path) -> None:
    with pytest.raises(CameraError, match="make one with a calibration"):
        read_camera(tmp_path / "none.toml")
    with pytest.raises(CameraError, match="cannot write"):
        write_camera(calibrated, tmp_path / "none" / "c.toml")


def test_photos_that_do_not_fit_are_refused(calibrated: Camera) -> None:
    for bad, told in (
        (
            photo(size=(4000, 2250)),
            r"p.jpg: 4000 x 2250 .* not the shape phone.toml .*4000 x 3000.*uncropped",
        ),
        (photo(camera="Lamplight 3"), r"taken with Lamplight 3, phone.toml is for Papermoth 12"),
        (photo(focal_35_mm=77.0), r"taken at 77 mm \(35 mm equivalent\), phone.toml is for 51: another zoom"),
    ):
        with pytest.raises(CameraError, match=told):
            calibrated.for_photo(bad)
    assert "Papermoth" in calibrated.for_photo(photo(camera="")).known.taken_for


def test_a_photo_of_another_zoom_that_does_not_say_so_is_found_out(calibrated: Camera) -> None:
    rng = np.random.default_rng(13)
    other = truth((40.0, 80.0, 600.0), (0.0, 0.0), 1.0, f35=56.0)
    with pytest.raises(CameraError, match=r"the sheet contradicts phone.toml \(focal length \+\d"):
        solve_view(photo(), sighting_of(seen_by(other, rng), 0.05), BARS, calibrated)


def turned_view(view: View, quarter: int) -> View:
    """The same camera, its picture turned counter-clockwise by quarter turns: EXIF 8 (1), 3 (2), 6 (3)."""
    w, h = view.size
    px_of = {
        1: lambda p: np.stack([p[:, 1], w - 1 - p[:, 0]], axis=1),
        2: lambda p: np.stack([w - 1 - p[:, 0], h - 1 - p[:, 1]], axis=1),
        3: lambda p: np.stack([h - 1 - p[:, 1], p[:, 0]], axis=1),
    }[quarter]

    class Turned(View):
        def project(self, xyz_mm, params=None):  # type: ignore[no-untyped-def]
            return px_of(View.project(self, xyz_mm, params))

    size = (h, w) if quarter % 2 else (w, h)
    return Turned(params=view.params, cov=view.cov, size=size, rms_px=0.0, n_saddles=0)


@pytest.mark.parametrize(("orientation", "quarter"), [(1, 0), (8, 1), (3, 2), (6, 3)])
def test_turned_photos_get_the_turned_lens(orientation: int, quarter: int, calibrated: Camera) -> None:
    """With the lens held at the calibrated one, the marks of a turned photo fit to the noise."""
    rng = np.random.default_rng(14)
    view = truth((40.0, 80.0, 600.0), (0.0, 0.0), 1.0)
    if quarter:
        view = turned_view(view, quarter)
    taken = photo(size=view.size, orientation=orientation, focal_35_mm=51.0)
    sure = replace(calibrated, params=truth((0, 0, 500), (0, 0), 0).params[LENS], cov=1e-4 * calibrated.cov)
    solved = solve_view(taken, sighting_of(seen_by(view, rng), 0.05), BARS, sure)
    assert solved.rms_px < 0.06 and solved.n_saddles == 70
    wrong = photo(size=view.size, orientation={1: 3, 3: 1, 6: 8, 8: 6}[orientation], focal_35_mm=51.0)
    lens = sure.for_photo(wrong).params
    assert np.abs(lens[3:5] - sure.for_photo(taken).params[3:5]).max() > 15  # the middle is on the other side


def test_a_photo_made_smaller_gets_the_smaller_lens(calibrated: Camera) -> None:
    lens = calibrated.for_photo(photo(size=(2000, 1500)))
    assert np.exp(lens.params[0]) == pytest.approx(np.exp(calibrated.params[0]) / 2)
    # cv2.resize puts pixel x of the large picture at (x + 0.5) / 2 - 0.5 (half-pixel centres)
    assert lens.params[3:5] == pytest.approx((calibrated.params[3:5] + 0.5) / 2 - 0.5)
    assert lens.params[[1, 2, 5, 6, 7]] == pytest.approx(calibrated.params[[1, 2, 5, 6, 7]])


def test_a_photo_turned_by_a_program_gets_a_doubtful_middle(calibrated: Camera) -> None:
    lens = calibrated.for_photo(photo(size=(3000, 4000)))
    off = lens.params[3:5] - [1499.5, 1999.5]
    assert np.all(np.sqrt(np.diag(lens.cov)[3:5]) >= np.abs(off)) and lens.known.turned


def test_the_backdrop_gains_most(calibrated: Camera) -> None:
    """Lengths 80 mm in front of the sheet: EXIF leaves 3 % of the focal length, calibration FOCUS_SD."""
    rng = np.random.default_rng(15)
    view = truth((40.0, 80.0, 600.0), (0.0, 0.0), 1.0)
    found = sighting_of(seen_by(view, rng), 0.05)
    near = np.array([[-60.0, -30.0], [60.0, -30.0]])
    px = view.project(np.column_stack([near, np.full(2, 80.0)]))
    errors, sds = [], []
    for camera in (None, calibrated):
        solved = solve_view(photo(focal_35_mm=52.0 if camera is None else 51.0), found, BARS, camera)
        at = solved.to_plane(px, 80.0)
        jac = solved.plane_jacobian(at, 80.0)
        along = (jac[1, 0] - jac[0, 0])[None]
        errors.append(abs(float(at[1, 0] - at[0, 0]) - 120.0))
        sds.append(float(np.sqrt((along @ solved.cov @ along.T)[0, 0])))
        assert errors[-1] < 2.5 * sds[-1]
    assert errors[1] < 0.1 and sds[1] < 0.5 * sds[0]
    assert solved.notes[0] == LensCalibrated("phone.toml", 10)
    assert FOCUS_SD < 0.01


def test_lens_terms_are_opencvs() -> None:
    """`View.project` against cv2.projectPoints (OpenCV calib3d's documented model), all five terms."""
    view = truth((60.0, 90.0, 420.0), (0.0, 10.0), 20.0)
    p = view.params
    xyz = np.random.default_rng(16).uniform([-120, -90, 0], [120, 90, 60], (200, 3))
    matrix = np.array([[np.exp(p[6]), 0, p[9]], [0, np.exp(p[6]), p[10]], [0, 0, 1]])
    coefficients = np.array([p[7], p[8], p[14], p[15], p[13]])
    theirs, _ = cv2.projectPoints(xyz, p[:3], p[3:6], matrix, coefficients)
    assert np.abs(view.project(xyz) - theirs.reshape(-1, 2)).max() < 1e-6
    back = view.to_plane(view.project(xyz * [1, 1, 0]), 0.0)
    assert np.abs(back - xyz[:, :2]).max() < 1e-6
