"""Our calibration of OpenCV's chessboard photos against cv2.calibrateCamera and the published intrinsics.

Source: left01 ... left14 and left_intrinsics.yml of Debian 12's package opencv-doc 4.6.0: fx = fy 535.91573
with 0.39259 px RMS, corners refined with windows of 11 px half width (aspect fixed).
"""

import numpy as np
import pytest

from tests.benchmarks.bench_capture_boards import PHOTOS, PUBLISHED_FOCAL, chess_corners, ours_and_opencvs

pytestmark = pytest.mark.skipif(
    not (PHOTOS / "left01.jpg").is_file(),
    reason="OpenCV's sample photos are not installed: apt-get install opencv-doc (Debian, 96 MB)",
)


def test_lens_agrees_with_opencvs_within_the_stated_uncertainty() -> None:
    ours, sd, theirs, their_sd, left_out = ours_and_opencvs(chess_corners(5), 0.1)
    assert left_out == []
    # identical corners: what differs is the model (bowed board, print, robust weights), within u of either
    assert np.all(np.abs(ours - theirs) < np.minimum(2 * sd, 2 * their_sd))
    assert np.all(sd < 2.5 * their_sd) and np.all(sd > 0.5 * their_sd)


def test_the_photo_with_spoilt_corners_is_named_and_the_rest_agrees() -> None:
    """With the published window the corners of left02 jump to neighbouring squares (up to 6 px)."""
    ours, sd, theirs, _, left_out = ours_and_opencvs(chess_corners(11), 0.1)
    assert left_out == ["left02"]
    assert np.all(np.abs(ours - theirs) < 2 * sd)
    # the published focal length contains left02; its own stated u (OpenCV's) is 0.9 px
    assert abs(ours[0] - PUBLISHED_FOCAL) < 3 * np.hypot(sd[0], 0.93)
