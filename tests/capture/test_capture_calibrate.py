"""Calibration: the true lens within the stated covariance, bad photos named, advice, orientation."""

from dataclasses import replace

import numpy as np
import pytest

from capture.camera.calibrated_camera import LENS as AT
from capture.camera.calibrated_camera import CameraError
from capture.camera.calibration.board_photos import board_photo, of_one_kind
from capture.camera.calibration.calibrate import calibrate_photos
from capture.camera.calibration.calibration_advice import advice, coverage
from capture.camera.calibration.calibration_result import Calibration
from capture.lens_hint import Exif
from capture.photo import photo_of_array
from capture.sheet.board import BOARD
from capture.sheet.marker_sheet import SHEETS
from compare.tell.words.photos.calibration_words import calibration_advice
from tests.capture.test_capture_scene import picture
from tests.helpers.drawn_boards import LENS, SIZE, board_of, round_the_board, truth


def run(n: int, rng: np.random.Generator, noise_px: float = 0.05, print_mm: float = 0.02) -> Calibration:
    printed = BOARD.saddles + rng.normal(0, print_mm, BOARD.saddles.shape)
    views = round_the_board(n, rng)
    return calibrate_photos(
        [board_of(v, f"{k}.jpg", rng, printed, noise_px) for k, v in enumerate(views)], "c"
    )


def test_lens_is_recovered_within_its_covariance() -> None:
    """Over draws of noise and of what the print got wrong: each lens number, and all eight together."""
    rng = np.random.default_rng(5)
    true = round_the_board(1, rng)[0].params[AT]
    alone, together = [], []
    for _ in range(30):
        cam = run(8, rng).camera
        off = cam.params - true
        alone.append(off**2 / np.diag(cam.cov))
        together.append(off @ np.linalg.solve(cam.cov, off) / 8)
        assert abs(np.exp(off[0]) - 1) < 1e-3
    # the mean of 30 squares of a normal has sd 0.26; of the joint one a third of that
    assert np.all(np.mean(alone, axis=0) < 1.8) and np.all(np.mean(alone, axis=0) > 0.35)
    assert 0.6 < np.mean(together) < 1.3


def test_what_the_print_got_wrong_does_not_average_away() -> None:
    rng = np.random.default_rng(6)
    result = run(12, rng, noise_px=0.02, print_mm=0.03)
    assert result.print_sd_mm == pytest.approx(0.03, rel=0.15)
    good = run(12, rng, noise_px=0.02, print_mm=0.0)
    assert good.print_sd_mm < 0.004
    assert result.camera.cov[0, 0] > 4 * good.camera.cov[0, 0]


def test_a_photo_of_a_bent_board_is_named_and_left_out() -> None:
    rng = np.random.default_rng(7)
    views = round_the_board(8, rng)
    photos = [board_of(v, f"{k}.jpg", rng, BOARD.saddles, 0.05) for k, v in enumerate(views)]
    bent = photos[3].sighting
    curl = 12 * (bent.xy_mm[:, :1] / 126) ** 2 * [1.0, 0.4]  # px
    photos[3] = replace(photos[3], sighting=replace(bent, px=bent.px + curl))
    result = calibrate_photos(photos, "c")
    ((name, why),) = result.left_out
    assert name == "3.jpg" and "the board was bent or moved, or the zoom changed" in why
    assert result.camera.n_photos == 7
    assert abs(result.camera.params[0] - views[0].params[6]) < 1e-3


def test_photos_of_another_kind_are_named() -> None:
    rng = np.random.default_rng(8)
    photos = [
        board_of(v, f"{k}.jpg", rng, BOARD.saddles, 0.05) for k, v in enumerate(round_the_board(6, rng))
    ]
    photos[0] = replace(photos[0], photo_size=(3000, 2250))
    photos[1] = replace(photos[1], model="Lamplight 3")
    photos[2] = replace(photos[2], focal_35_mm=77.0)
    left: list[tuple[str, str]] = []
    assert [p.name for p in of_one_kind(photos, left)] == ["3.jpg", "4.jpg", "5.jpg"]
    assert [w.split(" than")[0] for _, w in left] == ["another size", "another camera", "another zoom"]
    with pytest.raises(CameraError, match=r"only 2 photos .* 3 are needed.*0.jpg: another size"):
        calibrate_photos(photos[3:5], "c", left)


def test_advice_names_what_is_missing() -> None:
    rng = np.random.default_rng(9)
    straight = [truth((5.0 * k, 3.0 * k, 900.0), (0.0, 0.0), 0.0) for k in range(4)]
    photos = [board_of(v, f"{k}.jpg", rng, BOARD.saddles, 0.05) for k, v in enumerate(straight)]
    blurred = replace(photos[2], sighting=replace(photos[2].sighting, blur_px=3.0))
    poor = calibrate_photos([*photos[:2], blurred, photos[3]], "c")
    told = " / ".join(map(calibration_advice, advice(poor)))
    assert "4 photos were used; take 8 to 15" in told
    assert "too little left and right nor up and down" in told and "25 to 35 degrees" in told
    assert "turned upright" in told and "2.jpg is blurred (3.0 px)" in told
    assert "top left, top right, bottom left, bottom right" in told
    assert coverage(poor) < 0.5
    good = run(12, rng)
    assert advice(good) == () and coverage(good) == 1.0
    assert good.camera.cov[0, 0] < 0.01 * poor.camera.cov[0, 0]


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_a_turned_photo_gives_the_same_stored_marks(orientation: int) -> None:
    """The same stored pixels, shown upright as EXIF asks for, come back to where they were."""
    stored = picture(truth((60.0, 90.0, 420.0), (0.0, 10.0), 2.0), "board", blur_px=0.8, samples=2)[::2, ::2]
    stored = np.ascontiguousarray(stored)
    turns = {1: 0, 3: 2, 6: 3, 8: 1}[orientation]  # counter-clockwise quarter turns (Exif 2.3, 0x0112)
    upright = np.ascontiguousarray(np.rot90(stored, turns))
    plain = board_photo(photo_of_array(stored, name="a"))
    again = board_photo(photo_of_array(upright, name="b", exif=Exif(orientation=orientation)))
    assert again.photo_size == plain.photo_size == (2000, 1500)
    both = np.intersect1d(plain.sighting.index, again.sighting.index)
    assert len(both) > 150
    a, b = (s.px[np.searchsorted(s.index, both)] for s in (plain.sighting, again.sighting))
    assert np.abs(a - b).max() < 0.02


def test_mirrored_photos_and_photos_without_a_board_are_refused() -> None:
    grey = picture(truth((60.0, 90.0, 420.0), (0.0, 10.0), 2.0), "board", blur_px=0.8, samples=2)
    with pytest.raises(CameraError, match="mirror"):
        board_photo(photo_of_array(grey, name="m", exif=Exif(orientation=2)))


def test_exact_lens_of_rendered_boards() -> None:
    rng = np.random.default_rng(11)
    photos = []
    for k, view in enumerate(round_the_board(5, rng)):
        grey = picture(view, "board", blur_px=0.9, noise=2.0, samples=2, rng=rng)
        photos.append(board_photo(photo_of_array(grey, name=f"{k}.png", exif=Exif(focal_35_mm=48.0))))
    result = calibrate_photos(photos, "c")
    off = result.camera.params - truth((0, 0, 400), (0, 0), 0).params[AT]
    assert result.camera.rms_px < 0.03 and result.print_sd_mm < 0.003
    assert abs(off[0]) < 5e-4 and np.abs(off[3:5]).max() < 2.0
    assert np.all(np.abs(off) < 4 * np.sqrt(np.diag(result.camera.cov)))
    assert result.camera.size == SIZE and LENS["f35"] == 51.0


def test_the_uncut_sheet_serves_as_well() -> None:
    rng = np.random.default_rng(10)
    views = round_the_board(10, rng)
    sheet = SHEETS["a4"]
    photos = [board_of(v, f"{k}.jpg", rng, sheet.saddles, 0.05, sheet) for k, v in enumerate(views)]
    photos = [p for p in photos if len(p.sighting.index) >= 20]
    by_sheet = calibrate_photos(photos, "c").camera
    off = by_sheet.params - views[0].params[AT]
    assert off @ np.linalg.solve(by_sheet.cov, off) < 26.1  # chi-square with 8 degrees of freedom, 99.9 %
    assert by_sheet.cov[0, 0] < 1e-8  # a focal length good to 0.01 %
