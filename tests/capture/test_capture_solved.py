"""The capture room in one call, for open and shut dummies."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from capture.errors import SheetError
from capture.setup import Setup
from capture.solved import TakenThick, closed_plane, solve_photo
from tests.capture.test_capture_scene import camera, picture

SCALE = (1.002, 0.998)
BARS = (150 * SCALE[0], 100 * SCALE[1], 0.05)


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Two photos of the uncut sheet lying on a table, from above and from the side."""
    folder = tmp_path_factory.mktemp("closed")
    out = []
    for k, eye in enumerate(((20.0, -30.0, 560.0), (30.0, -260.0, 560.0))):
        view = camera(eye=eye, f35_mm=45.0, size=(2000, 1500), print_scale=SCALE)
        path = folder / f"shut{k}.png"
        cv2.imwrite(str(path), picture(view, blur_px=0.7, samples=2))
        out.append(path)
    return out


def test_several_photos_give_a_view_each(photos: list[Path]) -> None:
    solved = [solve_photo(photo, Setup(bars_mm=BARS)) for photo in photos]
    assert [s.photo.name for s in solved] == ["shut0.png", "shut1.png"]
    for s, true in zip(solved, ((20.0, -30.0, 560.0), (30.0, -260.0, 560.0)), strict=True):
        assert s.view.eye_mm() / np.linalg.norm(s.view.eye_mm()) == pytest.approx(
            np.array(true) / np.linalg.norm(true), abs=2e-3
        )
    assert replace(solved[0].view, notes=()).n_saddles >= 68


def test_face_on_plane_of_a_shut_dummy(photos: list[Path]) -> None:
    closed = closed_plane(photos[0], Setup(bars_mm=BARS), 4.0, thickness_sd_mm=0.2)
    truth = camera(eye=(20.0, -30.0, 560.0), f35_mm=45.0, size=(2000, 1500))
    page = np.array([[-60.0, -40.0, 4.0], [45.0, -40.0, 4.0], [45.0, 40.0, 4.0], [-60.0, 40.0, 4.0]])
    seen = closed.solved.view.to_plane(truth.project(page), closed.top_mm)
    # at 4 mm over the sheet 3 % of doubt in the focal length are 0.02 mm on 100 mm
    assert np.abs(seen - page[:, :2]).max() < 0.05
    assert closed.top_sd_mm == 0.2 and closed.card_mm == 2.0
    assert closed.card_sd_mm == pytest.approx(np.hypot(4 / np.sqrt(12), 0.1))
    assert closed.notes == (TakenThick(4.0),)


def test_shut_dummy_from_the_side_or_absurdly_thick_is_refused(photos: list[Path]) -> None:
    with pytest.raises(
        SheetError, match=r"shut1.png: .* 25 degrees from the side, over 20; .*straight above"
    ):
        closed_plane(photos[1], Setup(), 4.0)
    for thick in (0.0, -1.0, 80.0, float("nan")):
        with pytest.raises(SheetError, match="0 to 60 mm is wanted"):
            closed_plane(photos[0], Setup(), thick)
