"""OpenCV's own board detector on our sheet, and calibration from OpenCV's chessboard photos.

Published: left_intrinsics.yml of Debian 12's opencv-doc 4.6.0 (folder examples/data), fx = fy 535.91573,
RMS 0.39259 px, from corners refined with a window of 11 px half width, which in left02 reaches into
neighbouring squares (off by up to 6 px there).
"""

from pathlib import Path

import cv2
import numpy as np

from capture.arrays import Array, Pixels
from capture.camera.calibration.calibrate import calibrate_photos
from capture.sheet.marker_sheet import MarkerSheet, build_sheet
from tests.helpers.drawn_boards import board_photo_of

PHOTOS = Path("/usr/share/doc/opencv-doc/examples/data")
NUMBERS = (1, 2, 3, 4, 5, 6, 7, 8, 9, 11, 12, 13, 14)
PUBLISHED_FOCAL, PUBLISHED_RMS = 535.91573396163199, 0.39259098975581364
CHESS = build_sheet("chess", (297.0, 210.0), 30.0, 10, 7, 0, full=True)
"""The photographed board: 9 x 6 inner corners; the size of a square does not matter for the lens."""


def opencv_board(sheet: MarkerSheet, grey: Pixels) -> tuple[Array, Array]:
    """Saddles of the sheet as `cv2.aruco.CharucoDetector` finds them: nominal mm (N, 2) and px (N, 2).

    The board it looks for is a full one; the window's squares carry ids that are nowhere printed.
    """
    left, bottom, _, _ = sheet.ring
    side = sheet.square_mm
    ids_at = {tuple(np.round(c.mean(axis=0), 3)): i for i, c in sheet.tags.items()}
    spare = iter(range(586, max(sheet.tags), -1))
    ids = [
        ids_at.get(tuple(np.round((left + (c + 0.5) * side, bottom + (r + 0.5) * side), 3)))
        for r in range(sheet.n_rows - 1, -1, -1)
        for c in range(sheet.n_cols)
        if (c + r) % 2
    ]
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    board = cv2.aruco.CharucoBoard(
        (sheet.n_cols, sheet.n_rows),
        side,
        0.8 * side,
        family,
        np.array([next(spare) if i is None else i for i in ids]),
    )
    board.setLegacyPattern(sheet.n_rows % 2 == 0)  # which colour the top left square has
    px, which, _, _ = cv2.aruco.CharucoDetector(board).detectBoard(grey)
    if which is None:
        return np.empty((0, 2)), np.empty((0, 2))
    corners = np.array(board.getChessboardCorners())[np.ravel(which), :2]
    xy = np.stack([left + corners[:, 0], -bottom - corners[:, 1]], axis=1)
    on_ring = np.abs(xy[:, None] - sheet.saddles).max(axis=2).min(axis=1) < 1e-3
    return xy[on_ring], np.asarray(px, dtype=float).reshape(-1, 2)[on_ring]


def chess_corners(half_window: int) -> dict[str, Array]:
    """Corners (54, 2) of every photo, row by row, refined by `cornerSubPix` with this half window."""
    out = {}
    for number in NUMBERS:
        grey = cv2.imread(str(PHOTOS / f"left{number:02d}.jpg"), cv2.IMREAD_GRAYSCALE)
        found, start = cv2.findChessboardCorners(grey, (9, 6))
        assert found
        size = (half_window, half_window)
        px = cv2.cornerSubPix(grey, start, size, (-1, -1), (3, 30, 0.01))
        out[f"left{number:02d}"] = np.asarray(px, dtype=float).reshape(-1, 2)
    return out


def ours_and_opencvs(
    corners: dict[str, Array], sigma_px: float
) -> tuple[Array, Array, Array, Array, list[str]]:
    """Lens (f, cx, cy, k1, k2, k3, p1, p2) by us and its sd, by OpenCV and its sd; photos we left out."""
    taken = [board_photo_of(n, px, np.arange(54), sigma_px, CHESS, (640, 480)) for n, px in corners.items()]
    result = calibrate_photos(taken, "left")
    cam = result.camera
    order = [0, 3, 4, 1, 2, 5, 6, 7]
    ours, sd = cam.params[order], np.sqrt(np.diag(cam.cov))[order]
    ours[0], sd[0] = np.exp(ours[0]), np.exp(ours[0]) * sd[0]
    board = np.column_stack([CHESS.saddles * [1, -1], np.zeros(54)]).astype(np.float32)
    kept = [px for name, px in corners.items() if name not in dict(result.left_out)]
    px32 = [px.astype(np.float32).reshape(-1, 1, 2) for px in kept]
    flags = cv2.CALIB_FIX_ASPECT_RATIO
    start = np.array([[500.0, 0, 319.5], [0, 500.0, 239.5], [0, 0, 1]])
    _, k, d, _, _, sds, _, _ = cv2.calibrateCameraExtended(
        [board] * len(kept), px32, (640, 480), start, None, flags=flags
    )
    d, sds = d.ravel(), sds.ravel()
    theirs = np.array([k[1, 1], k[0, 2], k[1, 2], d[0], d[1], d[4], d[2], d[3]])
    their_sd = np.array([sds[1], sds[2], sds[3], sds[4], sds[5], sds[8], sds[6], sds[7]])
    return ours, sd, theirs, their_sd, [name for name, _ in result.left_out]


def calibration() -> None:
    """Print both calibrations and the published focal length."""
    if not (PHOTOS / "left01.jpg").is_file():
        print("\nCalibration: skipped, OpenCV's photos are missing (apt-get install opencv-doc)")
        return
    for half in (5, 11):
        ours, sd, theirs, their_sd, out = ours_and_opencvs(chess_corners(half), 0.1)
        print(
            f"\nCalibration, corners refined with a half window of {half} px; left out by us: {out or 'none'}"
        )
        print(f"{'':6}{'ours':>12}{'u':>10}{'OpenCV':>12}{'u':>10}{'difference/u':>14}")
        for name, *row in zip(
            ("f", "cx", "cy", "k1", "k2", "k3", "p1", "p2"), ours, sd, theirs, their_sd, strict=True
        ):
            both = np.hypot(row[1], row[3])
            print("{:6}{:12.5g}{:10.2g}{:12.5g}{:10.2g}{:14.2f}".format(name, *row, (row[0] - row[2]) / both))
    print(f"published: f {PUBLISHED_FOCAL:.2f}, RMS {PUBLISHED_RMS:.3f} px (half window 11, left02 included)")
