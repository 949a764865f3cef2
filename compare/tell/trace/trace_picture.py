"""The photo of a dummy measured without a spec, with what was traced drawn in."""

from pathlib import Path
from typing import Final

import numpy as np
from PIL import Image

from capture.arrays import Array, Pixels
from compare.jobs.measure_dummy import Figure, Tracing
from compare.tell.check.photo_marks import joint_mark, label_side
from compare.tell.draw.bands import headline_band, legend_band, list_band
from compare.tell.draw.labels import Label, label_marks, place_labels
from compare.tell.draw.marks import Box, Line
from compare.tell.draw.palette import HEAD_PLAIN, MEASURED, PHOTO_WIDTH, Colour
from compare.tell.draw.photo_frame import Frame
from compare.tell.draw.raster import painted
from compare.tell.result_files import TRACED, png_mark, write_whole
from compare.tell.words.photos.traced_words import traced_headline
from compare.vocabulary import Kind, parsed
from measure.layout import Role

SEEN_BOW: Final = 0.3  # mm; a straighter panel is drawn straight
LIST_TITLE: Final = "Numbered: measured ±U"


def traced_picture(tracing: Tracing, headline: str = "", ground: Colour = HEAD_PLAIN) -> Pixels:
    """Return the annotated photo, (H, 1600, 3) uint8 RGB.

    Parameters
    ----------
    headline, ground : what stands over it, and its colour; "" = what was recognised.
    """
    profile = tracing.profile
    shown = [j for j in profile.joints if parsed(j).kind != Kind.FORE_EDGE]
    body = np.array([profile.at(j) for j in shown])
    frame = Frame(tracing, body, tracing.card.depth_mm)
    picture = frame.cut(tracing.photo.bgr)
    lines = [
        Line(frame.px(_drawn(tracing, panel.name, panel.line_mm)), MEASURED)
        for panel in profile.panels
        if panel.found and len(panel.line_mm) > 1
    ]
    told = [f for f in tracing.lengths if _told(tracing, f)]
    placed = place_labels(
        [_label(tracing, f, i, frame) for i, f in enumerate(told, start=1)],
        Box(6, 6, PHOTO_WIDTH - 6, len(picture) - 6),
        [(line.points[0], line.points[-1]) for line in lines],
    )
    picture = painted(
        picture, [*lines, *(joint_mark(profile, j, frame) for j in shown), *label_marks(placed)]
    )
    rows = [(str(i), _row(f), False) for i, f in enumerate(told, start=1)]
    hand = f"by hand: {', '.join(profile.by_hand)}" if profile.by_hand else ""
    legend = legend_band([("measured", MEASURED)], f"mm, ±U (k=2)   {tracing.photo.name}", by_hand=hand)
    listed = [list_band(LIST_TITLE, rows)] if rows else []
    return np.vstack([headline_band(headline or traced_headline(tracing), ground), picture, *listed, legend])


def _row(f: Figure) -> str:
    return f"{f.name}{' (hand)' if f.by_hand else ''}  {f.value:.2f} ±{f.expanded:.2f}"


def _drawn(tracing: Tracing, name: str, line: Array) -> Array:
    """Return the line of a panel from its first to its last measured joint; pages as fitted."""
    panel = next((p for p in tracing.traced.layout.panels if p.name == name), None)
    if panel is None or panel.role is Role.PAGE:
        return line
    seen = [tracing.profile.at(j) for j in panel.joints if j in tracing.profile.joints]
    if len(seen) < 2 or abs(tracing.profile.panel(name).sagitta_mm) > SEEN_BOW:
        return line
    return np.array([seen[0], seen[-1]])


def _told(tracing: Tracing, f: Figure) -> bool:
    """Feet one by one only crowd the picture where their distance is told."""
    return not (parsed(f.name).kind == Kind.FOOT and Kind.FEET in tracing.traced.lengths)


def _label(tracing: Tracing, f: Figure, number: int, frame: Frame) -> Label:
    a, b = tracing.traced.lengths[f.name]
    p, q = frame.px(np.array([tracing.profile.at(a), tracing.profile.at(b)]))
    away, share = label_side(f.name, p, q)
    return Label(str(number), p + (q - p) * share, away, number=True)


def write_traced_picture(
    tracing: Tracing,
    path: Path,
    *,
    headline: str = "",
    ground: Colour = HEAD_PLAIN,
    replace: bool = False,
) -> None:
    """Write the annotated photo as PNG; the file appears whole or not at all.

    Parameters
    ----------
    headline, ground : as for `traced_picture`.

    Raises
    ------
    OutputError : it cannot be written.
    """
    image = Image.fromarray(traced_picture(tracing, headline, ground))
    write_whole(
        path,
        lambda temporary: image.save(temporary, format="PNG", pnginfo=png_mark(TRACED)),
        TRACED,
        replace=replace,
    )
