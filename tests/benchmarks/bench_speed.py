"""Time of the whole check as a ratio to its floor, on the same photo in the same run; and peak memory.

Run from the top folder: ``python tests/benchmarks/bench_speed.py [PHOTO SPEC]`` (default: two samples, one
arch and one backdrop). The floor is what nobody can avoid: OpenCV decoding the photo and one detection of the
coded tags at full size.
"""

import resource
import sys
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np

from compare.jobs.check_dummy import check

ROUNDS = 5


def floor(photo: Path) -> int:
    """Decode and detect once; the number of tags."""
    image = cv2.imdecode(np.fromfile(photo, dtype=np.uint8), cv2.IMREAD_COLOR)
    grey = cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)
    tags = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    _, ids, _ = cv2.aruco.ArucoDetector(tags).detectMarkers(grey)
    return 0 if ids is None else len(ids)


def best_s(job: Callable[[], object]) -> float:
    """Shortest of some rounds, seconds: what else runs on the machine only ever adds."""
    times = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        job()
        times.append(time.perf_counter() - start)
    return min(times)


def main() -> None:
    """Print the table."""
    if len(sys.argv) == 3:
        jobs = [(Path(sys.argv[1]), Path(sys.argv[2]))]
    else:
        samples = Path("sample_images")
        jobs = [
            (samples / "short_leg.jpg", samples / "short_leg.toml"),
            (samples / "foot_off.jpg", samples / "foot_off.toml"),
        ]
    for photo, spec in jobs:
        check(photo, spec)  # imports and first-use costs are not counted
        least = best_s(lambda p=photo: floor(p))  # type: ignore[misc]
        whole = best_s(lambda p=photo, s=spec: check(p, s))  # type: ignore[misc]
        print(
            f"{photo.name:24s} floor {least * 1e3:5.0f} ms   whole check {whole * 1e3:5.0f} ms   "
            f"ratio {whole / least:.2f}"
        )
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory of this run {peak:.0f} MiB")


if __name__ == "__main__":
    main()
