"""Scatter of fitted near ends beside the Cramer-Rao bound of the same blur and noise.

Run from the top folder: ``python tests/benchmarks/bench_edges.py``. Pictures are exact (every pixel's value
is an integral of blurred steps) with white noise. The bound for the place of a line across itself is
sigma / sqrt(sum over pixels of (d grey / d place)^2), here over the very pixels of the stretch used; no
unbiased method can scatter less (S. M. Kay, Fundamentals of Statistical Signal Processing, vol. I, 1993,
section 3.5, signals in white Gaussian noise; section number recalled from memory). Beside it OpenCV's line
segment detector on the same pictures.
"""

import sys
from pathlib import Path

import cv2
import numpy as np

from capture.arrays import Array

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from capture.camera.view import View  # noqa: E402
from measure.edges.detectors import edges_of  # noqa: E402
from measure.edges.edge_evidence import Template  # noqa: E402
from measure.edges.line_fit import refine  # noqa: E402
from measure.edges.stations import outer_sign  # noqa: E402
from measure.geometry import Curve  # noqa: E402
from tests.helpers.drawn_scene import (  # noqa: E402
    across_and_along,
    close_camera,
    near_end_picture,
    pixel_mm,
    plane_of,
)
from tests.measure.test_measure_refine import CARD, LENGTH, TRIM, rough_for, true_curve  # noqa: E402
from tests.outside.test_outside_edges import by_segment_detector, edge_error  # noqa: E402

N = 60
ANGLE_DEG = 11.0
STEP_MM = 1e-3
CASES = (  # px/mm, blur px, face, cut edge, background, noise
    (10.0, 0.9, (0.30, 0.55, 0.10), 0.01),
    (10.0, 0.9, (0.30, 0.36, 0.25), 0.02),
    (10.0, 1.6, (0.30, 0.55, 0.10), 0.01),
    (5.0, 0.9, (0.30, 0.55, 0.10), 0.01),
    (5.0, 0.9, (0.55, 0.60, 0.30), 0.02),
)


def picture(view: View, curve: Curve, levels: tuple[float, ...], blur_px: float) -> Array:
    """The picture without noise."""
    return near_end_picture(view, curve, levels, card_mm=CARD, blur_px=blur_px).astype(float)


def bound_mm(view: View, curve: Curve, levels: tuple[float, ...], blur_px: float, noise: float) -> float:
    """Cramer-Rao bound of the line's place across itself, mm, from the pixels of the stretch that is used."""

    def moved(by: float) -> Array:
        return picture(
            view, Curve(a=curve.a + by * curve.normal, b=curve.b + by * curve.normal), levels, blur_px
        )

    slope = (moved(STEP_MM) - moved(-STEP_MM)) / (2 * STEP_MM)
    _, s = across_and_along(curve, pixel_mm(view)[0])
    used = (s > TRIM / LENGTH) & (s < 1 - TRIM / LENGTH)
    return float(noise / np.sqrt(np.sum(slope[used] ** 2)))


def main() -> None:
    """Print the table."""
    curve = true_curve(ANGLE_DEG)
    for px_per_mm, blur_px, levels, noise in CASES:
        rng = np.random.default_rng(1)
        size = (int(56 * px_per_mm), int(30 * px_per_mm))
        ours, theirs, bounds = [], [], []
        for _ in range(N):
            view = close_camera(px_per_mm, size, shift_px=tuple(rng.uniform(-0.5, 0.5, 2)))
            blank = plane_of(view, np.zeros((4, 4), np.float32))
            lit = levels if outer_sign(blank, curve) > 0 else levels[::-1]
            grey = (picture(view, curve, lit, blur_px) + rng.normal(0, noise, size[::-1])).astype(np.float32)
            plane = plane_of(view, grey)
            template = Template(card_mm=CARD, blur_mm=blur_px / px_per_mm, depth_mm=60.0)
            fit = refine(
                edges_of(plane), rough_for(curve, rng), template, trim_mm=(TRIM, TRIM), max_bow_mm=0.0
            )
            ends = [(fit.curve.a - curve.a) @ curve.normal, (fit.curve.b - curve.b) @ curve.normal]
            ours.append(np.mean(ends))
            bounds.append(bound_mm(view, curve, lit, blur_px, noise))
            shown = cv2.convertScaleAbs(grey, alpha=255)
            found = edge_error(plane, curve, by_segment_detector(shown))
            if found is not None:
                theirs.append(float(np.mean(found)))
        bound, sd, bias = float(np.mean(bounds)), float(np.std(ours)), float(np.mean(ours))
        other = f"{np.std(theirs):.4f} mm, found {len(theirs) / N:4.0%}" if theirs else "none found"
        print(
            f"{px_per_mm:4.0f} px/mm  blur {blur_px} px  steps {levels[1] - levels[0]:+.2f} "
            f"{levels[2] - levels[1]:+.2f}  noise {noise:.2f}: bound {bound:.4f} mm  ours {sd:.4f} mm "
            f"(x {sd / bound:.1f}, bias {bias:+.4f})  | segment detector {other}"
        )


if __name__ == "__main__":
    main()
