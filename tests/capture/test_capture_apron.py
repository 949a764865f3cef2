"""The apron: page line, spine and near end from a picture in which all three are known exactly."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from capture.arrays import Array
from capture.camera.adjust import solve_view
from capture.camera.view import View
from capture.lens_hint import Exif
from capture.photo import photo_of_array
from capture.sheet.apron import APRON, FLUSH_SD_MM, FOLD_SD_MM, PAPER_MM, SPINE_SD_MM
from capture.sheet.print_scale import PrintScale
from capture.sight.sighting import Sighting, find_sheet
from tests.capture.test_capture_scene import camera, from_apron, picture

SCALE = (1.002, 0.999)


def solved(
    place: Array, turns: list[Array], *, arch: bool, exif_error: float = 0.0, halves: tuple[int, ...] = (0, 1)
) -> tuple[Sighting, View, View]:
    """Sighting, solved view and true view of a sheet with an apron at `place` (3,), its halves turned."""
    truth = camera(
        eye=(40.0, 90.0, 620.0), target=(0.0, -20.0), f35_mm=50.0, k1=-0.05, k2=0.03, print_scale=SCALE
    )
    aprons = [(APRON[i], from_apron(truth, place, turns[i])) for i in halves]
    rng = np.random.default_rng(3)
    image = picture(truth, arch=arch, blur_px=0.9, noise=2.0, rng=rng, aprons=aprons, samples=2)
    photo = photo_of_array(image, name="t.jpg", exif=Exif(focal_35_mm=50.0 * (1 + exif_error)))
    found = find_sheet(photo)
    bars = PrintScale.from_bars(found.sheet, 150 * SCALE[0], 100 * SCALE[1], reading_sd_mm=0.03)
    return found, solve_view(photo, found, bars), truth


def turned(x_deg: float = 0.0, y_deg: float = 0.0, z_deg: float = 0.0) -> Array:
    return np.asarray(cv2.Rodrigues(np.radians([x_deg, y_deg, z_deg]))[0], dtype=float)


def test_flat_base_in_an_arch() -> None:
    place, turn = np.array([3.0, -70.0, 0.4]), turned(0.5, 0.6, 0.5)
    found, view, _ = solved(place, [turn, turn], arch=True)
    apron = view.apron
    assert apron is not None and [len(h.px) for h in found.apron] == [18, 18]
    behind = turn @ [0.0, 0.0, -PAPER_MM]
    # by the marks: some hundredths of a mm; in depth the camera is a tenth as good
    assert np.abs(apron.spine_mm - place - behind) == pytest.approx([0, 0, 0], abs=0.1)
    assert np.abs(apron.spine_mm - place - behind)[:2].max() < 0.01
    assert apron.yaw_deg == pytest.approx(0.6, abs=0.1)
    assert abs(apron.standoff_mm - place[2] + PAPER_MM) < 2 * apron.standoff_rest_sd < 0.6
    for edge, way in zip(apron.edges, (-1.0, 1.0), strict=True):
        assert edge.side == ("left" if way < 0 else "right")
        outer = place + turn @ [80.0 * SCALE[0] * way, 0.0, -PAPER_MM]
        assert np.abs(edge.ends_mm[1] - outer)[:2].max() < 0.02
    # how it is mounted is the larger part of the doubt
    mounting = [SPINE_SD_MM, FOLD_SD_MM, FLUSH_SD_MM]
    assert np.sqrt(np.diag(apron.spine_cov)) == pytest.approx(mounting, abs=0.04)


def test_propped_base_has_two_lines_that_meet_in_the_spine() -> None:
    place = np.array([-4.0, -68.0, 0.2])
    _, view, _ = solved(place, [turned(z_deg=-12.0), turned(z_deg=9.0)], arch=True)
    assert view.apron is not None
    slopes = []
    for edge in view.apron.edges:
        run = edge.ends_mm[1] - edge.ends_mm[0]
        slopes.append(np.degrees(np.arctan2(run[1], abs(run[0]))))
        assert np.abs(edge.ends_mm[0] - place)[:2].max() < 0.02
    assert slopes == pytest.approx([12.0, 9.0], abs=0.02)


def test_one_half_alone_is_enough() -> None:
    place = np.array([0.0, -70.0, 0.0])
    _, view, _ = solved(place, [turned(), turned()], arch=True, halves=(1,))
    assert view.apron is not None and [e.side for e in view.apron.edges] == ["right"]
    assert np.abs(view.apron.spine_mm - place)[:2].max() < 0.02


def test_no_apron_is_none() -> None:
    _, view, _ = solved(np.zeros(3), [], arch=True, halves=())
    assert view.apron is None and view.z_gradient is None


def test_backdrop_scale_no_longer_hangs_on_the_focal_length() -> None:
    """EXIF is wrong by 3 %: with the apron, lengths in the near plane are right, and known to be."""
    place = np.array([3.0, -72.0, 80.0])
    found, view, truth = solved(place, [turned(), turned()], arch=False, exif_error=0.03)
    apron = view.apron
    assert apron is not None
    near = np.array([[-60.0, -30.0], [60.0, -30.0]])
    z_true = place[2] - PAPER_MM
    px = truth.project(np.column_stack([near, np.full(2, z_true)]))
    bound = replace(view, z_gradient=apron.standoff_gradient)

    def length_and_sd(of: View, z_mm: float, z_sd: float) -> tuple[float, float]:
        at = of.to_plane(px, z_mm)
        jac = of.plane_jacobian(at, z_mm)
        along = (jac[1, 0] - jac[0, 0])[None]
        by_z = np.diff((of.to_plane(px, z_mm + 0.5) - of.to_plane(px, z_mm - 0.5))[:, 0])[0]
        var = float((along @ of.cov @ along.T)[0, 0]) + (by_z * z_sd) ** 2
        return float(at[1, 0] - at[0, 0]), float(np.sqrt(var))

    length, sd = length_and_sd(bound, apron.standoff_mm, apron.standoff_rest_sd)
    assert abs(length - 120.0) < 2 * sd and sd < 0.06
    # by a ruler good to half a millimetre, and no apron
    bare = solve_view(
        photo_of_array(np.zeros((3000, 4000), np.uint8), exif=Exif(focal_35_mm=51.5)),
        replace(found, apron=()),
        PrintScale.from_bars(found.sheet, 150 * SCALE[0], 100 * SCALE[1], reading_sd_mm=0.03),
    )
    bare_length, bare_sd = length_and_sd(bare, z_true, 0.5)
    assert abs(length - 120.0) < abs(bare_length - 120.0) and sd < 0.35 * bare_sd
