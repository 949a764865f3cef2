"""Photos of the calibration board made of exact points, for the calibration tests."""

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array
from capture.camera.calibration.board_photos import BoardPhoto
from capture.camera.view import View
from capture.lens_hint import Exif
from capture.photo import Photo, photo_of_array
from capture.sheet.board import BOARD
from capture.sheet.marker_sheet import MarkerSheet
from capture.sight.sighting import Sighting
from tests.capture.test_capture_scene import camera

SIZE = (4000, 3000)
MODEL = "Papermoth 12"
LENS = {
    "k1": -0.09,
    "k2": 0.06,
    "k3": -0.02,
    "p1": 0.0008,
    "p2": -0.0006,
    "centre_px": (14.0, -9.0),
    "f35": 51.0,
}


def truth(
    eye: tuple[float, float, float], target: tuple[float, float], roll_deg: float, **lens: object
) -> View:
    """True camera over the board with the lens of `LENS`, or as given."""
    use = {**LENS, **lens}
    view = camera(
        eye=eye, target=target, roll_deg=roll_deg, f35_mm=use["f35"], size=SIZE, k1=use["k1"], k2=use["k2"],
        centre_px=use["centre_px"],
    )  # fmt: skip
    params = view.params.copy()
    params[13:16] = use["k3"], use["p1"], use["p2"]
    return View(params=params, cov=np.zeros((16, 16)), size=SIZE, rms_px=0.0, n_saddles=0)


def round_the_board(n: int, rng: np.random.Generator, **lens: object) -> list[View]:
    """Cameras at n places: tilted every way, some turned upright, the board here and there in the frame."""
    out = []
    for k in range(n):
        tilt, way = np.radians(rng.uniform(5, 38)), 2 * np.pi * k / n + rng.uniform(-0.3, 0.3)
        far = rng.uniform(380, 560)
        eye = (far * np.sin(tilt) * np.cos(way), far * np.sin(tilt) * np.sin(way), far * np.cos(tilt))
        aim = (float(rng.uniform(-70, 70)), float(rng.uniform(-50, 50)))
        out.append(truth(eye, aim, float(rng.choice([0, 0, 90, -90])) + rng.normal(0, 4), **lens))
    return out


def board_of(
    view: View,
    name: str,
    rng: np.random.Generator,
    printed: Array,
    noise_px: float,
    sheet: MarkerSheet = BOARD,
) -> BoardPhoto:
    """The board as seen by a camera; `printed` (N, 2) is where its marks really are."""
    px = view.project(np.column_stack([printed, np.zeros(len(printed))]))
    index = np.flatnonzero((px > 20).all(axis=1) & (px < np.array(SIZE) - 20).all(axis=1))
    px = px[index] + rng.normal(0, noise_px, (len(index), 2))
    return board_photo_of(name, px, index, noise_px, sheet)


def board_photo_of(
    name: str,
    px: Array,
    index: NDArray[np.intp],
    sigma_px: float,
    sheet: MarkerSheet,
    size: tuple[int, int] = SIZE,
) -> BoardPhoto:
    """Wrap given marks as a photo of a board."""
    xy = sheet.saddles[index]
    seen = Sighting(
        sheet=sheet,
        index=index,
        xy_mm=xy,
        px=px,
        sigma_px=np.full(len(px), sigma_px),
        H_img_sheet=np.asarray(cv2.findHomography(xy, px, 0)[0], dtype=float),
        blur_px=0.9,
        contrast=180.0,
        clipped=0.0,
        n_tags=20,
        n_bottom_band=0,
        bottom_band_seen=False,
    )
    return BoardPhoto(
        name=name, photo_size=size, model=MODEL, focal_35_mm=None, focal_mm=None, focal_px=None, sighting=seen
    )


def photo(size: tuple[int, int] = SIZE, **exif: object) -> Photo:
    """An empty photo of a size that says these things of itself."""
    facts = Exif(**{"camera": MODEL, **exif})
    return photo_of_array(np.zeros(size[::-1], np.uint8), name="p.jpg", exif=facts)
