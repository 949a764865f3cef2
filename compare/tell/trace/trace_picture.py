"""The photo of a dummy measured without a spec, with what was traced drawn in."""

from pathlib import Path

import numpy as np
from PIL import Image

from capture.arrays import Array, Pixels
from compare.jobs.measure_dummy import Figure, Tracing
from compare.tell.draw import photo_canvas as cv
from compare.tell.draw.photo_strokes import WIDTH, Frame
from compare.tell.result_files import TRACED, png_mark, write_whole
from compare.tell.words.photos.traced_words import traced_headline
from compare.vocabulary import Kind, parsed
from measure.layout import Role

TEXT = 27
HEAD_TEXT = 40
HEAD = (60, 66, 74)


def traced_picture(tracing: Tracing) -> Pixels:
    """Return the annotated photo, (H, 1600, 3) uint8 RGB."""
    profile = tracing.profile
    shown = [j for j in profile.joints if parsed(j).kind != Kind.FORE_EDGE]
    frame = Frame(tracing, np.array([profile.at(j) for j in shown]))
    picture = frame.cut(tracing.photo.bgr)
    pieces: list[tuple[Array, Array]] = []
    for panel in profile.panels:
        if panel.found and len(panel.line_mm) > 1:
            line = frame.px(_drawn(tracing, panel.name, panel.line_mm))
            cv.polyline(picture, line, cv.ORANGE, 4)
            pieces.append((line[0], line[-1]))
    for joint in shown:
        at = frame.px(profile.at(joint))[0]
        if joint in profile.by_hand:
            cv.square(picture, at, 10, cv.WHITE)
        else:
            cv.disc(picture, at, 7, cv.ORANGE)
    labels = [_label(tracing, f, frame) for f in tracing.lengths if _told(tracing, f)]
    room = cv.Box(6, 6, WIDTH - 6, picture.shape[0] - 6)
    placed = cv.place_labels(labels, TEXT, room, pieces)
    for p in placed:
        end = cv.nearest(p.box, p.label.at)
        cv.polyline(picture, np.array([p.label.at, end]), cv.WHITE, 2)
    for p in placed:
        picture = cv.plate(picture, p.box, p.label.text, TEXT, ink=cv.WHITE, ground=cv.DARK, rim=cv.GREY)
    foot = f"mm, ±U (k=2)   {tracing.photo.name}"
    if profile.by_hand:
        foot = f"white diamond: by hand ({', '.join(profile.by_hand)})   {foot}"
    head = _band(traced_headline(tracing), HEAD_TEXT, HEAD)
    return np.vstack([head, picture, _band(foot, TEXT - 4, cv.DARK)])


def _drawn(tracing: Tracing, name: str, line: Array) -> Array:
    """Return the line of a panel from its first to its last measured joint; pages as fitted."""
    panel = next((p for p in tracing.traced.layout.panels if p.name == name), None)
    if panel is None or panel.role is Role.PAGE:
        return line
    seen = [tracing.profile.at(j) for j in panel.joints if j in tracing.profile.joints]
    if len(seen) < 2 or abs(tracing.profile.panel(name).sagitta_mm) > 0.3:
        return line
    return np.array([seen[0], seen[-1]])


def _told(tracing: Tracing, f: Figure) -> bool:
    """Feet one by one only crowd the picture where their distance is told."""
    return not (parsed(f.name).kind == Kind.FOOT and Kind.FEET in tracing.traced.lengths)


def _label(tracing: Tracing, f: Figure, frame: Frame) -> cv.Label:
    a, b = tracing.traced.lengths[f.name]
    p, q = frame.px(np.array([tracing.profile.at(a), tracing.profile.at(b)]))
    along = (q - p) / max(float(np.hypot(*(q - p))), 1.0)
    away = np.array([-along[1], along[0]])
    name = parsed(f.name)
    share = 0.97 if name.kind == Kind.PLANE else 0.5
    if abs(along[1]) > 0.5:  # a standing strip: outwards
        flip = away[0] * (1.0 if name.side == "right" else -1.0) < 0
    else:
        flip = away[1] * (-1.0 if name.on_plane else 1.0) < 0
    text = f"{f.name}{' (hand)' if f.by_hand else ''}\n{f.value:.2f} ±{f.expanded:.2f}"
    return cv.Label(text=text, at=p + (q - p) * share, away=-away if flip else away, weight=1.0, loud=False)


def _band(text: str, size: int, ground: cv.Colour) -> Pixels:
    _, h = cv.text_size(text, size)
    band = np.full((round(h + size * 1.1), WIDTH, 3), ground, dtype=np.uint8)
    box = cv.Box(0, 0, WIDTH - 1, len(band) - 1)
    return cv.plate(band, box, text, size, ink=cv.WHITE, ground=ground)


def write_traced_picture(tracing: Tracing, path: Path, *, replace: bool = False) -> None:
    """Write the annotated photo as PNG; the file appears whole or not at all.

    Raises
    ------
    OutputError : it cannot be written.
    """
    image = Image.fromarray(traced_picture(tracing))
    write_whole(
        path,
        lambda temporary: image.save(temporary, format="PNG", pnginfo=png_mark(TRACED)),
        TRACED,
        replace=replace,
    )
