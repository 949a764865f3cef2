"""Linear light, resampling at millimetre positions, and the rectified picture."""

import cv2
import numpy as np
import pytest

from capture.camera.rectify import linear_grey, rectify, resample, srgb_to_linear
from capture.photo import photo_of_array
from tests.capture.test_capture_scene import camera, picture

VIEW = camera(size=(1600, 1200), eye=(30.0, 60.0, 500.0), roll_deg=12.0, k1=-0.1, k2=0.05)


def ramp(a: float, b: float) -> np.ndarray:
    """Picture whose value is a linear function of the pixel position."""
    x, y = np.meshgrid(np.arange(1600, dtype=np.float32), np.arange(1200, dtype=np.float32))
    return (a * x + b * y).astype(np.float32)


def test_srgb_table_has_the_values_of_the_standard() -> None:
    # IEC 61966-2-1:1999: linear below 0.04045, else ((v + 0.055) / 1.055)^2.4; mid grey 118/255 is 18 % light
    table = srgb_to_linear()
    assert table[0] == 0 and table[255] == 1
    assert table[10] == pytest.approx(10 / 255 / 12.92)
    assert table[118] == pytest.approx(0.18, abs=0.003)
    assert np.all(np.diff(table) > 0)


def test_linear_grey_weighs_the_primaries_as_bt_709() -> None:
    image = np.zeros((2, 3, 3), np.uint8)
    image[0, 0], image[0, 1], image[0, 2] = (255, 0, 0), (0, 255, 0), (0, 0, 255)
    image[1] = 255
    grey = linear_grey(photo_of_array(image))
    # ITU-R BT.709-6, 3.3: Y = 0.2126 R + 0.7152 G + 0.0722 B
    assert grey[0] == pytest.approx([0.0722, 0.7152, 0.2126], abs=1e-6)
    assert grey[1] == pytest.approx([1, 1, 1], abs=1e-6)


@pytest.mark.parametrize("z_mm", [0.0, 60.0])
def test_resample_reads_the_pixel_where_the_camera_sees_the_point(z_mm: float) -> None:
    xy = np.random.default_rng(3).uniform(-90, 90, (7, 11, 2))
    px = VIEW.project(np.column_stack([xy.reshape(-1, 2), np.full(77, z_mm)]))
    for a, b in ((1.0, 0.0), (0.0, 1.0), (0.3, -0.7)):
        values = resample(ramp(a, b), VIEW, z_mm, xy)
        assert values.shape == (7, 11) and values.dtype == np.float32
        # bilinear interpolation is exact on a ramp, up to single precision at values of 1600
        assert np.abs(values.ravel() - px @ [a, b]).max() < 2e-3


def test_rectify_is_resample_on_its_own_grid_and_upright() -> None:
    scene = picture(VIEW, "a4", blur_px=0.5, samples=2)
    out = rectify(scene, VIEW, (-130.0, -90.0, 130.0, 90.0), 4.0)
    assert out.image.shape == (721, 1041)
    index = np.stack(np.meshgrid(np.arange(1041), np.arange(721)), axis=-1)
    again = resample(scene, VIEW, 0.0, out.to_mm(index))
    # knots are 2 mm apart here: up to 0.003 px off, times the steepest edge of about 100 levels per px
    assert np.nanmax(np.abs(again - out.image)) < 0.4
    assert np.allclose(out.to_index(out.to_mm(index)), index)
    assert out.to_mm(np.array([0, 0])) == pytest.approx([-130, 90])  # row 0 is the top
    assert out.to_mm(np.array([1040, 720])) == pytest.approx([130, -90])
    # the black square at the upper right of the first saddle shows where the sheet has it
    col, row = np.rint(out.to_index(np.array([-126.0 + 0.5, 84.0 + 0.5]))).astype(int)
    assert out.image[row, col] < 40 and out.image[row, col - 4] > 180


def test_rectify_on_a_plane_before_the_sheet() -> None:
    out = rectify(ramp(1.0, 0.0), VIEW, (-50.0, -40.0, 50.0, 40.0), 3.0, z_mm=80.0)
    point = np.array([[20.0, -10.0]])
    col, row = np.rint(out.to_index(point[0])).astype(int)
    expected = VIEW.project(np.column_stack([out.to_mm(np.array([[col, row]])), [[80.0]]]))[0, 0]
    assert out.image[row, col] == pytest.approx(expected, abs=0.01)


def test_outside_the_picture_is_nan_and_colour_stays_colour() -> None:
    colour = np.full((1200, 1600, 3), (10, 20, 30), np.uint8)
    values = resample(colour, VIEW, 0.0, np.array([[0.0, 0.0], [5000.0, 0.0]]))
    assert values[0] == pytest.approx([10, 20, 30]) and np.all(np.isnan(values[1]))
    far = rectify(colour, VIEW, (3000.0, 0.0, 3010.0, 10.0), 1.0)
    assert far.image.shape == (11, 11, 3) and np.all(np.isnan(far.image))
    assert resample(colour, VIEW, 0.0, np.empty((0, 2))).shape == (0, 3)


def test_bounds_without_area_are_a_bad_call() -> None:
    with pytest.raises(ValueError, match=r"bounds must be \(left, bottom, right, top\)"):
        rectify(ramp(1, 0), VIEW, (10.0, 0.0, -10.0, 5.0), 4.0)


def test_projection_agrees_with_opencv() -> None:
    """`View.project` against `cv2.projectPoints` (calib3d's model with k1, k2), and back onto the plane."""
    rng = np.random.default_rng(8)
    xyz = np.column_stack([rng.uniform(-150, 150, (500, 2)), np.full(500, 45.0)])
    p = VIEW.params
    camera_matrix = np.array([[np.exp(p[6]), 0, p[9]], [0, np.exp(p[6]), p[10]], [0, 0, 1]])
    opencv, _ = cv2.projectPoints(xyz, p[:3], p[3:6], camera_matrix, np.array([p[7], p[8], 0, 0]))
    assert np.abs(VIEW.project(xyz) - opencv.reshape(-1, 2)).max() < 1e-9
    assert np.abs(VIEW.to_plane(VIEW.project(xyz), 45.0) - xyz[:, :2]).max() < 1e-9
