"""Two plain methods that stand for what one would do without this project.

A homography from the tags' corners (OpenCV), the picture rectified, segments found in it by a general-purpose
library, and for every panel the segment nearest to its designed place; joints where segments cross.
"""

from collections.abc import Callable

import cv2
import numpy as np
from skimage.feature import canny
from skimage.transform import probabilistic_hough_line

from capture.arrays import Array, Pixels
from capture.photo import Photo
from capture.sight.tags import find_tags
from compare.jobs.check_dummy import Inspection
from measure.geometry import cross_point
from measure.layout import Layout

PER_MM = 5.0
FEET = ("inner foot left", "inner foot right")


def by_hough(upright: Pixels) -> Array:
    """Segments (N, 2, 2) in pixels by Canny edges and the probabilistic Hough transform of scikit-image."""
    segments = probabilistic_hough_line(
        canny(upright.astype(float), sigma=2.0), threshold=20, line_length=60, line_gap=5, rng=1
    )
    return np.array(segments, dtype=float).reshape(-1, 2, 2)


def by_detector(upright: Pixels) -> Array:
    """Segments (N, 2, 2) in pixels by OpenCV's line segment detector; 12 mm and longer."""
    lines = cv2.createLineSegmentDetector().detect(upright)[0]
    if lines is None:
        return np.zeros((0, 2, 2))
    ends = lines.reshape(-1, 2, 2).astype(float)
    return ends[np.hypot(*(ends[:, 1] - ends[:, 0]).T) > 60]


def plain_joints(
    photo: Photo, inspection: Inspection, layout: Layout, segments: Callable[[Pixels], Array]
) -> dict[str, Array]:
    """Joints by a plain method, in sheet millimetres; those it does not find are missing.

    It is told where the feet are; a dummy of which they were not measured is left out.
    """
    if not all(foot in inspection.profile.joints for foot in FEET):
        return {}
    sheet = inspection.sighting.sheet
    tags = find_tags(photo.grey, photo.name)
    px = tags.corners_px.reshape(-1, 2)
    mm = np.concatenate([sheet.tags[int(i)] for i in tags.ids])
    left, right, bottom, top = -150.0, 150.0, -sheet.paper_mm[1] / 2 - 12, sheet.window[3]
    to_map = np.column_stack([(mm[:, 0] - left) * PER_MM, (top - mm[:, 1]) * PER_MM])
    homography, _ = cv2.findHomography(px, to_map, cv2.RANSAC, 3.0)
    size = (int((right - left) * PER_MM), int((top - bottom) * PER_MM))
    upright = cv2.warpPerspective(photo.grey, homography, size)
    ends = segments(upright)
    ends = np.stack([left + ends[..., 0] / PER_MM, top - ends[..., 1] / PER_MM], axis=-1)
    if inspection.standoff_mm:  # a homography knows no depth: shrink about the picture's middle
        eye = inspection.view.eye_mm()
        ends = eye[:2] + (ends - eye[:2]) * (eye[2] - inspection.standoff_mm) / eye[2]
    return _assemble(layout, ends, inspection)


def _assemble(layout: Layout, ends: Array, inspection: Inspection) -> dict[str, Array]:
    """Give every panel the segment nearest to its designed place (the design laid on the true feet)."""
    profile = inspection.profile
    shift = np.mean([profile.at(foot) - layout.at(foot) for foot in FEET], axis=0)
    nearest: dict[str, tuple[Array, Array]] = {}
    for panel in layout.panels:
        p, q = layout.at(panel.joints[0]) + shift, layout.at(panel.joints[-1]) + shift
        if panel.free_end and "page" in panel.name:
            q = p + (q - p) * 0.7
        middle, along = (p + q) / 2, (q - p) / np.hypot(*(q - p))
        if not len(ends):
            return {}
        d = ends[:, 1] - ends[:, 0]
        d /= np.hypot(d[:, 0], d[:, 1])[:, None]
        turn = np.degrees(np.arccos(np.clip(np.abs(d @ along), 0, 1)))
        off = np.abs((middle - ends[:, 0])[:, 0] * -d[:, 1] + (middle - ends[:, 0])[:, 1] * d[:, 0])
        cost = off + np.where(turn < 15, turn * 0.2, 1e3)
        k = int(np.argmin(cost))
        if cost[k] < 15:
            nearest[panel.name] = (ends[k, 0], d[k])
    out: dict[str, Array] = {}
    for joint in layout.joint_names:
        on = [nearest[p.name] for p in layout.panels if joint in p.joints and p.name in nearest]
        pairs = [
            (u, v)
            for i, u in enumerate(on)
            for v in on[:i]
            if abs(u[1][0] * v[1][1] - u[1][1] * v[1][0]) > 0.2
        ]
        if pairs:
            (p, v), (q, w) = pairs[0]
            out[joint] = cross_point(p[None], v[None], q[None], w[None])[0]
    return out
