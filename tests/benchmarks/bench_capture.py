"""Figures of the capture room, printed as tables.

    python tests/benchmarks/bench_capture.py [FOLDER]

FOLDER holds rendered photos with their truth (default: sample_images). Times are ratios to OpenCV's tag
detector on the same picture, best of several turns taken alternately so that all meet the same load.
Saddles: in pictures whose corners are known exactly, and in the rendered photos, beside OpenCV's
`cornerSubPix` and its board detector. Plane: a grid in the window, carried to millimetres, against the truth.
Calibration: OpenCV's own chessboard photos (Debian's opencv-doc), beside `cv2.calibrateCamera` on the same
corners and the intrinsics published with them.
"""

import json
import sys
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np

from capture.arrays import Array

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from capture.camera.adjust import solve_view  # noqa: E402
from capture.camera.rectify import linear_grey, rectify  # noqa: E402
from capture.camera.view import View  # noqa: E402
from capture.errors import FoldgaugeError  # noqa: E402
from capture.photo import photo_of_array, read_photo  # noqa: E402
from capture.sheet.print_scale import PrintScale  # noqa: E402
from capture.sight.sighting import find_sheet  # noqa: E402
from tests.benchmarks.bench_capture_boards import calibration, opencv_board  # noqa: E402
from tests.capture.test_capture_scene import camera, picture, true_saddles  # noqa: E402

TURNS = 7
READ_SD_MM = 0.03
"""The rendered photos' bars are their true lengths rounded to 0.1 mm: u = 0.05/sqrt(3)."""


def best_of(steps: dict[str, Callable[[], object]]) -> dict[str, float]:
    """Least time of each step, s."""
    times: dict[str, list[float]] = {name: [] for name in steps}
    for _ in range(TURNS):
        for name, step in steps.items():
            start = time.perf_counter()
            step()
            times[name].append(time.perf_counter() - start)
    return {name: min(seconds) for name, seconds in times.items()}


def speed(path: Path) -> None:
    """Print the times of one photo."""
    data = np.fromfile(path, np.uint8)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    detector = cv2.aruco.ArucoDetector(dictionary)
    photo = read_photo(path)
    sighting = find_sheet(photo)
    view = solve_view(photo, sighting)
    left, bottom, right, top = sighting.sheet.window
    steps: dict[str, Callable[[], object]] = {
        "OpenCV detectMarkers, full size": lambda: detector.detectMarkers(photo.grey),
        "OpenCV decode": lambda: cv2.imdecode(data, cv2.IMREAD_COLOR),
        "read_photo": lambda: read_photo(path),
        "find_sheet": lambda: find_sheet(photo),
        "solve_view": lambda: solve_view(photo, sighting),
        "linear_grey": lambda: linear_grey(photo),
        "rectify window, 10 per mm": lambda: rectify(photo.grey, view, (left, bottom, right, top), 10.0),
    }
    took = best_of(steps)
    floor = took["OpenCV detectMarkers, full size"]
    took["find_sheet + solve_view"] = took["find_sheet"] + took["solve_view"]
    print(f"\n{path.name}: {photo.size[0]} x {photo.size[1]}, {len(sighting.index)} saddles")
    print(f"{'step':34}{'ms':>8}{'ratio':>8}")
    for name, seconds in took.items():
        print(f"{name:34}{1e3 * seconds:8.1f}{seconds / floor:8.2f}")


def exact_saddles() -> None:
    """Print saddle errors over blur, noise and scale, ours and OpenCV's refinement from the true places."""
    print("\nSaddles, error in px per axis (drawn, exactly known): bias, rms, largest; stated sigma")
    print(
        f"{'px/mm':>6}{'blur':>6}{'noise':>6}{'seen':>6}{'bias':>8}{'rms':>8}{'max':>8}{'sigma':>8}", end=""
    )
    print(f"{'cornerSubPix rms':>19}")
    rng = np.random.default_rng(1)
    for distance in (430.0, 620.0, 1100.0, 1900.0):
        for blur, noise in ((0.5, 0.0), (0.8, 2.0), (2.0, 4.0)):
            view = camera(eye=(40.0, 0.15 * distance, distance), roll_deg=3.0, k1=-0.06, f35_mm=45.0)
            image = picture(view, blur_px=blur, noise=noise, rng=rng)
            label = f"{view.px_per_mm(np.zeros(2)):6.1f}{blur:6.1f}{noise:6.1f}"
            try:
                found = find_sheet(photo_of_array(image))
            except FoldgaugeError as refusal:
                print(f"{label}  refused: {refusal}")
                continue
            truth = true_saddles(view, found.sheet)
            err = found.px - truth[found.index]
            start = np.ascontiguousarray(truth, dtype=np.float32).reshape(-1, 1, 2)
            half = max(2, round(0.09 * 12 * view.px_per_mm(np.zeros(2))))
            theirs = (
                cv2.cornerSubPix(image, start, (half, half), (-1, -1), (3, 50, 1e-4)).reshape(-1, 2) - truth
            )
            print(
                f"{label}{len(found.index):6d}"
                f"{np.abs(err.mean(axis=0)).max():8.4f}{rms(err):8.4f}{np.abs(err).max():8.4f}"
                f"{np.median(found.sigma_px):8.4f}{rms(theirs):19.4f}"
            )


def rms(values: Array) -> float:
    """Root mean square."""
    return float(np.sqrt(np.mean(values**2))) if values.size else float("nan")


def photos(folder: Path) -> None:
    """Print saddles and plane of every rendered photo in a folder.

    The printed sheet in them may be bent by some tenths of a millimetre, which moves marks against the truth
    of a flat one: "flat" is what is left of the saddle errors after a quadratic trend.
    """
    print(f"\nRendered photos in {folder.name}: saddles, px per axis; plane of the sheet, mm (bars given)")
    print(f"{'':30}{'ours':>20}{'OpenCV board':>22}{'plane':>16}")
    print(
        f"{'photo':30}{'bias':>7}{'rms':>7}{'flat':>6}{'seen':>8}{'bias':>7}{'rms':>7}{'rms':>10}{'NES':>6}"
    )
    rows, by_use = [], {"arch": [], "backdrop": []}
    for path in sorted(folder.glob("*.jpg")):
        truth = json.loads(path.with_suffix(".truth.json").read_text())
        try:
            row = one_photo(path, truth)
        except FoldgaugeError:
            continue
        rows.append(row)
        by_use.setdefault(truth["use"], []).append(row[6:])
        print("{:30}{:7.3f}{:7.3f}{:6.3f}{:8d}{:7.3f}{:7.3f}{:10.4f}{:6.2f}".format(path.stem, *row))
    for use, those in by_use.items():
        if those:
            plane, nes = np.array(those).T
            print(
                f"{use}: plane rms {np.sqrt(np.mean(plane**2)):.4f} mm over {len(those)} photos, "
                f"normalised squared error {np.mean(nes):.2f} on average"
            )
    every = np.array([row[7] for row in rows])
    print(f"all: normalised squared error {np.mean(every):.2f} +- {np.std(every) / np.sqrt(len(every)):.2f}")


def one_photo(path: Path, truth: dict) -> tuple[float, float, float, int, float, float, float, float]:
    """Bias, rms, rms without trend; marks, bias and rms of OpenCV; rms and normalised error of the plane."""
    photo = read_photo(path)
    found = find_sheet(photo)
    true = View(
        params=np.array(truth["view_params"]), cov=np.zeros((13, 13)), size=photo.size, rms_px=0, n_saddles=0
    )

    def at(xy: Array) -> Array:
        return true.project(np.column_stack([xy * truth["print_scale"], np.zeros(len(xy))]))

    off = found.px - at(found.xy_mm)
    x, y = (found.xy_mm / 100).T
    trend = np.column_stack([np.ones(len(off)), x, y, x * x, y * y, x * y])
    flat = off - trend @ np.linalg.lstsq(trend, off, rcond=None)[0]
    theirs_mm, theirs_px = opencv_board(found.sheet, photo.grey)
    theirs = theirs_px - at(theirs_mm)
    bars = PrintScale.from_bars(found.sheet, *truth["bars_read_mm"], reading_sd_mm=READ_SD_MM)
    view = solve_view(photo, found, bars)
    left, bottom, right, top = found.sheet.window
    grid = np.stack(
        np.meshgrid(np.linspace(left + 5, right - 5, 9), np.linspace(bottom + 5, top - 5, 6)), axis=-1
    ).reshape(-1, 2)
    miss = view.to_plane(true.project(np.column_stack([grid, np.zeros(len(grid))]))) - grid
    jac = view.plane_jacobian(grid)
    cov = np.einsum("nij,jk,nlk->nil", jac, view.cov, jac)
    nes = float(np.mean(np.einsum("ni,nij,nj->n", miss, np.linalg.inv(cov), miss)) / 2)
    bias = [float(np.abs(v.mean(axis=0)).max()) if len(v) else float("nan") for v in (off, theirs)]
    return bias[0], rms(off), rms(flat), len(theirs), bias[1], rms(theirs), rms(miss), nes


if __name__ == "__main__":
    where = Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / "sample_images"
    for name in ("short_leg.jpg", "good_backdrop.jpg"):
        speed(ROOT / "sample_images" / name)
    exact_saddles()
    photos(where)
    calibration()
