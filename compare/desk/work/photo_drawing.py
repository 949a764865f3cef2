"""The photo cut to the dummy, and what is drawn over it, as numbers: the screens make their SVG of them."""

import json
import math
from typing import Any, Final

import cv2
import numpy as np

from capture.arrays import Array
from compare.jobs.check_dummy import Inspection
from compare.tell.check.page_motion import motion_json, motion_of
from compare.tell.draw import photo_canvas as canvas
from compare.tell.draw.photo_strokes import Frame, frame_of, strokes_of

QUALITY: Final = 85  # JPEG; for looking at and pointing in, all measuring is done in the original
MOST_WIDTH: Final = 4000  # px of the picture sent to the page
LOUD_TEXT: Final = 34  # px of the drawing, which is 1600 wide
TEXT: Final = 24
MOST_LABELS: Final = 14


def cut_photo(inspection: Inspection) -> bytes:
    """Return the first photo cut to the dummy, in its own pixels, as a JPEG file."""
    frame = frame_of(inspection)
    part = inspection.photo.bgr[frame.low[1] : frame.high[1], frame.low[0] : frame.high[0]]
    if part.shape[1] > MOST_WIDTH:
        scale = MOST_WIDTH / part.shape[1]
        part = cv2.resize(part, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)  # type: ignore[assignment]
    ok, data = cv2.imencode(".jpg", part, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    assert ok
    return data.tobytes()


def _rounded(points: Array) -> list[Any]:
    out: list[Any] = np.round(np.asarray(points, dtype=float), 2).tolist()
    return out


def _lines(lines: list[tuple[str, Array]]) -> list[dict[str, Any]]:
    return [{"name": n, "points": _rounded(p)} for n, p in lines if np.all(np.isfinite(p))]


def drawn_of(inspection: Inspection, *, moving: bool = True) -> dict[str, Any]:
    """Return what is drawn over the picture; `moving` False leaves the movement out.

    Returns
    -------
    width, height : of the drawing, px. low, scale : a pixel p of the photo lies at
        (p - low + 0.5) scale - 0.5 of the drawing.
    measured, design, faults : lines {name, points}. joints : {name, at, hand}.
    labels : {text, at, box [x0, y0, x1, y1], loud}. motion : as `motion_json` tells it; pages, mm.
    """
    frame = frame_of(inspection)
    strokes = strokes_of(inspection, frame)
    height = round((int(frame.high[1]) - int(frame.low[1])) * frame.scale)
    width = canvas_width(frame)
    profile = inspection.profile
    joints: list[dict[str, Any]] = [
        {"name": j, "at": _rounded(frame.px(profile.at(j))[0]), "hand": j in profile.by_hand}
        for j in profile.joints
        if np.all(np.isfinite(profile.at(j)))
    ]
    inside = [j for j in joints if 0 <= j["at"][0] <= width and 0 <= j["at"][1] <= height]
    return {
        "width": width,
        "height": height,
        "low": [int(v) for v in frame.low],
        "scale": frame.scale,
        "measured": _lines(strokes.measured),
        "design": _lines(strokes.design),
        "faults": _lines(strokes.faults),
        "joints": inside,
        "labels": _labels(strokes.labels, strokes.measured, width, height),
        "motion": _motion(inspection) if moving else None,
    }


def _motion(inspection: Inspection) -> dict[str, Any]:
    motion = motion_of(inspection.findings)
    return {**json.loads(str(motion_json(motion))), "pages": dict(motion.page_mm)}


def canvas_width(frame: Frame) -> int:
    """Return the width of the drawing, px."""
    return round((int(frame.high[0]) - int(frame.low[0])) * frame.scale)


def _labels(
    labels: list[canvas.Label], measured: list[tuple[str, Array]], width: int, height: int
) -> list[dict[str, Any]]:
    room = canvas.Box(6, 6, width - 6, height - 6)
    loud = [x for x in labels if x.loud]
    calm = [x for x in labels if not x.loud][: max(MOST_LABELS - len(loud), 0)]
    pieces = [(p[0], p[-1]) for _, p in measured]
    placed = canvas.place_labels(loud, round(LOUD_TEXT * 1.2), room, pieces)
    placed += canvas.place_labels(calm, round(TEXT * 1.2), room, pieces, [p.box for p in placed])
    return [
        {
            "text": p.label.text,
            "at": _rounded(p.label.at),
            "box": [round(float(v), 1) for v in (p.box.x0, p.box.y0, p.box.x1, p.box.y1)],
            "loud": p.label.loud,
        }
        for p in placed
        if all(math.isfinite(v) for v in (p.box.x0, p.box.y0))
    ]
