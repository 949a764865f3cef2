"""Speed and accuracy of the capture room, printed as two tables.

    python tests/benchmarks/bench_capture.py [PHOTO.jpg ...]

Speed: each step as a ratio to the floor (OpenCV decode + one full-size tag detection) in the same run, best
of several turns taken alternately so that both meet the same load. Accuracy: saddles in pictures whose
corners are known exactly, beside OpenCV's `cornerSubPix`.
"""

import sys
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from test_capture_scene import camera, picture, true_saddles  # noqa: E402

from capture.adjust import solve_view  # noqa: E402
from capture.errors import SheetError  # noqa: E402
from capture.photo import photo_of_array, read_photo  # noqa: E402
from capture.rectify import linear_grey, rectify  # noqa: E402
from capture.sighting import find_sheet  # noqa: E402

TURNS = 7


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
        "OpenCV decode": lambda: cv2.imdecode(data, cv2.IMREAD_COLOR),
        "OpenCV detectMarkers, full size": lambda: detector.detectMarkers(photo.grey),
        "read_photo": lambda: read_photo(path),
        "find_sheet": lambda: find_sheet(photo),
        "solve_view": lambda: solve_view(photo, sighting),
        "linear_grey": lambda: linear_grey(photo),
        "rectify window, 10 per mm": lambda: rectify(photo.grey, view, (left, bottom, right, top), 10.0),
    }
    took = best_of(steps)
    floor = took["OpenCV decode"] + took["OpenCV detectMarkers, full size"]
    print(f"\n{path.name}: {photo.size[0]} x {photo.size[1]}, {len(sighting.index)} saddles")
    print(f"{'step':34}{'ms':>8}{'ratio':>8}")
    for name, seconds in took.items():
        print(f"{name:34}{1e3 * seconds:8.1f}{seconds / floor:8.2f}")
    capture = took["read_photo"] + took["find_sheet"] + took["solve_view"]
    solve = took["find_sheet"] + took["solve_view"]
    print(f"{'find_sheet + solve_view':34}{1e3 * solve:8.1f}{solve / floor:8.2f}")
    print(f"{'read + find + solve':34}{1e3 * capture:8.1f}{capture / floor:8.2f}")
    print(f"{'floor':34}{1e3 * floor:8.1f}{1:8.2f}")


def accuracy() -> None:
    """Print saddle errors over blur, noise and scale, ours and OpenCV's."""
    print("\nSaddles, error in px per axis (rendered, exactly known): bias, rms, largest; stated sigma")
    print(
        f"{'px/mm':>6}{'blur':>6}{'noise':>6}{'seen':>6}{'bias':>8}{'rms':>8}{'max':>8}{'sigma':>8}", end=""
    )
    print(f"{'cornerSubPix rms':>19}")
    rng = np.random.default_rng(1)
    for distance in (430.0, 620.0, 1100.0, 1900.0):
        for blur, noise in ((0.5, 0.0), (0.8, 2.0), (2.0, 4.0)):
            view = camera(eye=(40.0, 0.15 * distance, distance), roll_deg=3.0, k1=-0.06, f35_mm=45.0)
            image = picture(view, blur_px=blur, noise=noise, rng=rng)
            photo = photo_of_array(image)
            label = f"{view.px_per_mm(np.zeros(2)):6.1f}{blur:6.1f}{noise:6.1f}"
            try:
                found = find_sheet(photo)
            except SheetError as refusal:
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
                f"{np.abs(err.mean(axis=0)).max():8.4f}{np.sqrt(np.mean(err**2)):8.4f}{np.abs(err).max():8.4f}"
                f"{np.median(found.sigma_px):8.4f}{np.sqrt(np.mean(theirs**2)):19.4f}"
            )


if __name__ == "__main__":
    paths = [Path(a) for a in sys.argv[1:]] or sorted((ROOT / "sample_images").glob("*.jpg"))[:1]
    for photo_path in paths:
        speed(photo_path)
    accuracy()
