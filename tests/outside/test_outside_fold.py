"""A target in two planes against other ways to the camera: OpenCV's solvePnP, a textbook's resection, chance.

Resection: the camera matrix by the direct linear transformation from six or more points that do not lie in
one plane, then split into lens and pose (Hartley & Zisserman, Multiple View Geometry, 2nd ed. 2004, sections
7.1 and 6.2.4; the points brought to unit scale before, algorithm 7.1).
"""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from capture.arrays import Array
from capture.camera.adjust import solve_view
from capture.camera.lens_model import FoldedPiece, folded
from capture.camera.page_from_sill import LYING
from capture.camera.view import View
from capture.camera.view_problem import bow_shapes
from capture.sheet.sill import SILL_SHEETS, SillPart, printed_sill
from capture.sight.sighting import Sighting
from capture.sight.sill_sight import SillSeen
from tests.capture.test_capture_scene import camera
from tests.capture.test_capture_sill import PRINT, SIZE, look, solved
from tests.helpers.drawn_boards import board_photo_of, photo

SHEET = SILL_SHEETS["a4"]
SILL = printed_sill(SHEET)
F35 = 52.0
N_DRAWS = 120


def lens_of(view: View) -> tuple[Array, Array]:
    """Camera matrix and distortion as OpenCV has them."""
    p = view.params
    f = np.exp(p[6])
    return np.array([[f, 0, p[9]], [0, f, p[10]], [0, 0, 1]]), np.array([p[7], p[8], p[14], p[15], p[13]])


@pytest.mark.parametrize("elevation_deg", [6.0, 12.0])
def test_the_pose_is_that_of_opencvs_solvepnp(elevation_deg: float) -> None:
    """On a drawn picture; OpenCV is told the true shape of the folded sheet, ours has to find it."""
    truth, found, view, lies = solved("sill", elevation_deg)
    points = [np.column_stack([found.xy_mm, np.zeros(len(found.xy_mm))])]
    points += [how.at(seen.xy_mm) for seen, how in zip(found.sill, lies, strict=True)]
    px = np.concatenate([found.px, *(seen.px for seen in found.sill)])
    ok, rvec, tvec = cv2.solvePnP(np.concatenate(points), px, *lens_of(view))
    assert ok
    theirs = (-cv2.Rodrigues(rvec)[0].T @ tvec).ravel()
    assert np.linalg.norm(view.eye_mm() - theirs) < 1.0  # of 700 mm
    turn = cv2.Rodrigues(rvec)[0] @ cv2.Rodrigues(view.params[:3])[0].T
    assert np.degrees(np.linalg.norm(cv2.Rodrigues(turn)[0])) < 0.05
    assert np.linalg.norm(theirs - truth.eye_mm()) < 3.0


def camera_matrix_by_dlt(points: Array, px: Array) -> tuple[Array, Array]:
    """Camera matrix (3, 4) and the singular values of its equations (12,)."""

    def unit(x: Array) -> tuple[Array, Array]:
        n = x.shape[1]
        middle = x.mean(axis=0)
        scale = np.sqrt(n) / np.mean(np.linalg.norm(x - middle, axis=1))
        t = np.eye(n + 1) * scale
        t[n, n] = 1
        t[:n, n] = -scale * middle
        return t, np.column_stack([x, np.ones(len(x))]) @ t.T

    to_p, p = unit(points)
    to_u, u = unit(px)
    zero = np.zeros_like(p)
    rows = np.concatenate([np.hstack([zero, -p, u[:, 1:2] * p]), np.hstack([p, zero, -u[:, 0:1] * p])])
    _, values, vt = np.linalg.svd(rows)
    return np.linalg.inv(to_u) @ vt[-1].reshape(3, 4) @ to_p, values


def lens_of_matrix(matrix: Array) -> Array:
    """Lens part (3, 3) of a camera matrix: RQ by QR of the reversed."""
    flip = np.eye(3)[::-1]
    q, r = np.linalg.qr((flip @ matrix[:, :3]).T)
    k = flip @ r.T @ flip
    k = k @ np.diag(np.sign(np.diag(k)))
    out: Array = k / k[2, 2]
    return out


def test_two_planes_give_the_focal_length_that_one_cannot() -> None:
    truth = camera(eye=(60.0, 40.0, 650.0), target=(0, -10), roll_deg=2.0, f35_mm=F35, size=SIZE)
    found = made(truth, np.zeros(3), np.zeros((2, 5)), 0.0, np.random.default_rng(0))
    upright = np.column_stack([found.xy_mm, np.zeros(len(found.xy_mm))])
    lying = [place(truth, np.zeros(3), np.zeros(5), part, part.saddles) for part in SILL.parts]
    points = np.concatenate([upright, *lying])
    px = truth.project(points)
    matrix, values = camera_matrix_by_dlt(points, px)
    k = lens_of_matrix(matrix)
    focal = np.exp(truth.params[6])
    assert k[0, 0] == pytest.approx(focal, rel=1e-6) and k[1, 1] == pytest.approx(focal, rel=1e-6)
    assert (k[0, 2], k[1, 2]) == pytest.approx(tuple(truth.params[9:11]), abs=0.01)
    assert values[-2] > 1e-3 * values[0]  # one solution
    _, flat = camera_matrix_by_dlt(upright, truth.project(upright))
    assert flat[-2] < 1e-9 * flat[0]  # a plane leaves many
    # Ours, told a focal length 2 % wrong, finds the same from both planes and not from one.
    told = photo(SIZE, focal_35_mm=F35 * 1.02)
    both = solve_view(told, found, PRINT)
    alone = solve_view(told, replace(found, sill=()), PRINT)
    assert abs(both.params[6] - np.log(k[0, 0])) < 1e-3
    assert both.cov[6, 6] < alone.cov[6, 6] / 9


def place(view: View, bows: Array, fold: Array, part: SillPart, xy: Array) -> Array:
    """Where points of the flat paper lie: `fold` (5,) is off a right angle along the printed line."""
    left, right = part.span_mm
    piece = FoldedPiece(middle_mm=(left + right) / 2, half_mm=(right - left) / 2, depth_mm=SILL.depth_mm)
    line = np.array([SILL.fold_mm * np.exp(view.params[12]), 0, 0, 0, 0]) + fold
    behind = bow_shapes(SHEET, np.column_stack([xy[:, 0], np.full(len(xy), SILL.fold_mm)]))
    return folded(np.concatenate([view.params, bows, line]), xy, behind, piece)


def made(view: View, bows: Array, folds: Array, noise_px: float, rng: np.random.Generator) -> Sighting:
    """What would be seen of a sheet with these bows and folds."""
    xy = SHEET.saddles * np.exp(view.params[11:13])
    px = view.project(np.column_stack([xy, bow_shapes(SHEET, SHEET.saddles) @ bows]))
    sd = max(noise_px, 0.01)
    seen = board_photo_of(
        "p.jpg", px + rng.normal(0, noise_px, px.shape), np.arange(len(px)), sd, SHEET, SIZE
    ).sighting
    sill = []
    for part, fold in zip(SILL.parts, folds, strict=True):
        at = view.project(place(view, bows, fold, part, part.saddles))
        h = np.asarray(cv2.findHomography(part.saddles, at, 0)[0], dtype=float)
        at = at + rng.normal(0, noise_px, at.shape)
        sill.append(
            SillSeen(
                sill=SILL, part=part, xy_mm=part.saddles, px=at, sigma_px=np.full(len(at), sd), H_img_paper=h
            )
        )
    return replace(seen, sill=tuple(sill))


def test_stated_uncertainty_of_page_and_focal_length_is_the_scatter() -> None:
    """120 sheets drawn as the priors have them: bars, lens, folds, bows; 15 % is 2 sd of their scatter."""
    rng = np.random.default_rng(11)
    fold_sd = np.array([0.35, 0.004, np.radians(1.2), 0.2, 0.1])
    spring = np.array([0, 0, np.radians(0.5), 0, 0])
    off, claimed = [], []
    for _ in range(N_DRAWS):
        angle = rng.uniform(6, 14)
        truth = look(angle, aside_mm=float(rng.uniform(-60, 60)))
        params = truth.params.copy()
        params[6] = np.log(F35 * np.hypot(*SIZE) / np.hypot(36, 24)) + rng.normal(0, 0.03)
        params[7:9] = rng.normal(0, (0.1, 0.2)) * 0.3
        params[11:13] = rng.normal(0, 3e-4, 2)
        truth = replace(truth, params=params)
        bows, folds = rng.normal(0, 0.1, 3), spring + rng.normal(0, 1, (2, 5)) * fold_sd
        view = solve_view(photo(SIZE, focal_35_mm=F35), made(truth, bows, folds, 0.06, rng), PRINT)
        assert view.page is not None
        off.append([view.params[6] - params[6]])
        claimed.append([np.sqrt(view.cov[6, 6])])
        lying = page_errors(view, truth, bows, folds)
        off[-1] += lying[0]
        claimed[-1] += lying[1]
    ratio = np.sqrt(np.mean((np.array(off) / np.array(claimed)) ** 2, axis=0))
    assert np.all(ratio > 0.6) and np.all(ratio < 1.15), ratio


def page_errors(view: View, truth: View, bows: Array, folds: Array) -> tuple[list[float], list[float]]:
    """Errors of the pages' heights at both ends of their fold, and what is claimed, flatness left out."""
    off, claimed = [], []
    assert view.page is not None
    for side, part, fold in zip(view.page.sides, SILL.parts, folds, strict=True):
        for k in range(2):
            x, up = side.corners_mm[k, 0], np.exp(truth.params[12])
            on_fold = np.array([[x, SILL.fold_mm + (fold[0] + fold[1] * x) / up]])
            true_y = place(truth, bows, fold, part, on_fold)[0, 1] - LYING.paper_mm
            by = np.zeros(9)
            by[3 * k + 1] = 1
            cov = by @ (side.gradient @ view.cov @ side.gradient.T + side.rest_cov) @ by
            off.append(float(side.corners_mm[k, 1] - true_y))
            claimed.append(float(np.sqrt(cov - LYING.height_sd**2 - LYING.end_sd**2)))
    return off, claimed
