"""The photo cut to the dummy, and what is drawn over it, as numbers: the screens make their SVG of them."""

import json
from collections.abc import Sequence
from typing import Any, Final

import cv2
import numpy as np

from capture.arrays import Array, Pixels
from compare.jobs.check_dummy import Inspection
from compare.tell.check.annotated_photo import listed_words
from compare.tell.check.page_motion import motion_json, motion_of
from compare.tell.check.photo_marks import frame_of, marks_of
from compare.tell.draw.marks import Line, Mark, Plate
from compare.tell.draw.palette import DARK, PHOTO_WIDTH, VERMILLION
from compare.tell.draw.photo_frame import Frame
from compare.units import unit_of

QUALITY: Final = 85  # JPEG; for looking at and pointing in, all measuring is done in the original
MOST_WIDTH: Final = 4000  # px of the picture sent to the page


def _cut(frame: Frame, bgr: Pixels) -> Pixels:
    """Return the part of the photo that is shown, in the photo's own pixels; dark where it ends."""
    height, width = bgr.shape[:2]
    low, high = np.maximum(frame.low, 0), np.minimum(frame.high, (width, height))
    part = bgr[low[1] : high[1], low[0] : high[0]]
    (left, top), (right, bottom) = low - frame.low, frame.high - high
    whole = cv2.copyMakeBorder(
        part, int(top), int(bottom), int(left), int(right), cv2.BORDER_CONSTANT, value=DARK[::-1]
    )
    return np.asarray(whole, dtype=np.uint8)


def cut_photo(inspection: Inspection) -> bytes:
    """Return the first photo cut to the dummy, in its own pixels, as a JPEG file."""
    part = _cut(frame_of(inspection), inspection.photo.bgr)
    if part.shape[1] > MOST_WIDTH:
        size = MOST_WIDTH, round(part.shape[0] * MOST_WIDTH / part.shape[1])
        part = np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    ok, data = cv2.imencode(".jpg", part, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    assert ok
    return data.tobytes()


def _rounded(points: Array) -> list[Any]:
    out: list[Any] = np.round(np.asarray(points, dtype=float), 2).tolist()
    return out


def _lines(marks: Sequence[Mark]) -> list[dict[str, Any]]:
    return [
        {"name": m.title, "points": _rounded(m.points)}
        for m in marks
        if isinstance(m, Line) and np.all(np.isfinite(m.points))
    ]


def _plates(marks: Sequence[Mark]) -> list[dict[str, Any]]:
    return [
        {
            "text": m.text,
            "box": [round(float(v), 1) for v in (m.box.x0, m.box.y0, m.box.x1, m.box.y1)],
            "size": float(m.size),
            "loud": m.ground == VERMILLION,
            "round": m.round,
        }
        for m in marks
        if isinstance(m, Plate)
    ]


def drawn_of(inspection: Inspection, *, moving: bool = True) -> dict[str, Any]:
    """Return what is drawn over the picture; `moving` False leaves the movement out.

    Returns
    -------
    width, height : of the drawing, px. low, scale : a pixel p of the photo lies at
        (p - low + 0.5) scale - 0.5 of the drawing.
    measured, design, faults, leaders : lines {name, points}. joints : {name, at, hand}.
    labels : {text, box [x0, y0, x1, y1], size, loud, round}; listed : what numbers in it stand for.
    motion : as `motion_json` tells it, and the pages' widths, mm.
    """
    frame = frame_of(inspection)
    height = round((int(frame.high[1]) - int(frame.low[1])) * frame.scale)
    drawn = marks_of(inspection, frame, height)
    profile, unit = inspection.profile, unit_of(inspection.spec.units)
    joints: list[dict[str, Any]] = [
        {"name": j, "at": _rounded(frame.px(profile.at(j))[0]), "hand": j in profile.by_hand}
        for j in profile.joints
        if np.all(np.isfinite(profile.at(j)))
    ]
    return {
        "width": PHOTO_WIDTH,
        "height": height,
        "low": [int(v) for v in frame.low],
        "scale": frame.scale,
        "measured": _lines(drawn.measured),
        "design": _lines(drawn.design),
        "faults": _lines(drawn.faults),
        "leaders": _lines(drawn.labels),
        "labels": _plates(drawn.labels),
        "listed": [
            {"number": x.number, "words": listed_words(x, unit), "loud": x.loud} for x in drawn.listed
        ],
        "joints": [j for j in joints if 0 <= j["at"][0] <= PHOTO_WIDTH and 0 <= j["at"][1] <= height],
        "motion": _motion(inspection) if moving else None,
    }


def _motion(inspection: Inspection) -> dict[str, Any]:
    motion = motion_of(inspection.findings)
    return {**json.loads(str(motion_json(motion))), "pages": dict(motion.page_mm)}
