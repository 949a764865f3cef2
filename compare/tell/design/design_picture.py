"""A design on one picture: its movement in drawings, curves of what matters, and the sums of its loops."""

import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import numpy as np

from capture.arrays import Array
from compare.compare_errors import OutputError
from compare.design.linkage.mechanism import Loop
from compare.design.spec.spec import Spec
from compare.design.study.concerns import concerns
from compare.design.study.motion import Motion
from compare.design.study.tolerance import Study
from compare.tell.design.design_frames import (
    at_opening,
    draw_legend,
    draw_paths,
    draw_pose,
    draw_side,
    extent,
    has_path,
)
from compare.tell.draw import svg
from compare.tell.draw.axes import ticks
from compare.tell.draw.marks import Bar, Line, Sketch, Words, text_size
from compare.tell.draw.palette import ALLOWED, BAR, CURVES, GREEN, GREY, INK, PALE, VERMILLION, Pen
from compare.tell.draw.raster import image_of
from compare.tell.result_files import PICTURE, png_mark, write_whole
from compare.tell.words.designs.design_words import falls_short, headline
from compare.units import unit_of
from compare.vocabulary import parsed

OPENINGS: Final = (180.0, 150.0, 120.0, 90.0, 60.0, 30.0, 10.0)  # degrees
WIDTH: Final = 1200.0
MARGIN: Final = 36.0
LOOPS_SHOWN: Final = 6
MOST_NAMES: Final = 4  # of the curves of a chart
NAMES: Final = 16.0  # px for their row, under the title
LONGEST: Final = 44
NOTE_COLUMNS: Final = 150  # characters of the line under the title


def shown_openings(motion: Motion) -> list[float]:
    """Return the openings (degrees) worth a drawing: the widest and the round ones below it."""
    widest, least = float(np.degrees(motion.opens_to)), float(np.degrees(motion.shut_at))
    out = [widest] + [d for d in OPENINGS if least <= d < widest - 5]
    if least > 15:
        out.append(least)
    return out


def _frames(sketch: Sketch, spec: Spec, motion: Motion, top: float) -> float:
    """Draw the movement in rows of drawings at one scale; return where they end."""
    unit = unit_of(spec.units)
    page = max(spec.base.page_left, spec.base.page_right)
    openings = shown_openings(motion)
    room = WIDTH - 2 * MARGIN
    sizes = []
    for deg in openings:
        pose = at_opening(spec.mechanism, np.radians(deg))
        sizes.append((deg, pose, extent(pose, page, float(np.radians(deg)))))
    gap = 44.0
    scale = min((room - 2 * gap) / (2 * page * 2.9), 2.4)
    tops = [float(np.nanmax(v[:, 1])) for k, v in motion.pose.joints.items() if has_path(k)]
    rows: list[list[int]] = [[]]
    used = 0.0
    for i, (_, _, (left, right, _, _)) in enumerate(sizes):
        wide = scale * (right - left) + gap
        if rows[-1] and used + wide > room + gap:
            rows.append([])
            used = 0.0
        rows[-1].append(i)
        used += wide
    y = top
    for row in rows:
        heights = [scale * (sizes[i][2][3] - sizes[i][2][2]) for i in row]
        widths = [scale * (sizes[i][2][1] - sizes[i][2][0]) for i in row]
        space = (room - sum(widths)) / max(len(row), 1)
        x = MARGIN + space / 2
        if 0 in row:
            heights.append(scale * max(tops, default=0.0))
        base = y + max(heights) + 12
        for i, wide in zip(row, widths, strict=True):
            deg, pose, (left, _, low, _) = sizes[i]
            origin = (x - scale * left, base + scale * low)
            if i == 0:
                draw_paths(sketch, spec, motion.pose, origin, scale)
            draw_pose(sketch, spec, pose, origin, scale)
            sketch.add(Words(x + wide / 2, base + 24, f"{deg:.0f}°", 15, INK, "middle"))
            ridges = [k for k in pose.joints if parsed(k).is_top]
            if ridges:
                words = f"{ridges[-1]} {unit.words(float(pose.joints[ridges[-1]][1]))}"
                sketch.add(Words(x + wide / 2, base + 40, words, 12, GREY, "middle"))
            x += wide + space
        y = base + 66
    return y


def _side_views(sketch: Sketch, spec: Spec, motion: Motion, top: float) -> float:
    """Draw side views at several openings: what moves along the spine, and the nod."""
    openings = [d for d in shown_openings(motion) if d in (150, 120, 90, 60, 30) or d > 150][:5]
    depth = spec.base.depth or spec.card.strip_depth
    sketch.add(Words(MARGIN, top + 6, "From the side (camera at the left); what only a side photo shows", 14))
    room = (WIDTH - 2 * MARGIN) / len(openings)
    scale = min(room / (depth * 1.45), 2.0)
    poses = [at_opening(spec.mechanism, np.radians(d)) for d in openings]
    high = scale * max(float(p.joints["ridge"][1]) for p in poses)
    for i, (deg, pose) in enumerate(zip(openings, poses, strict=True)):
        x = MARGIN + i * room + 0.22 * room
        draw_side(sketch, spec, pose, (x, top + 34 + high), scale)
        nod = 0.0 if pose.nod is None else float(np.degrees(pose.nod))
        words = f"{deg:.0f}°, nod {round(nod, 1) + 0.0:+.1f}°"
        sketch.add(Words(x + scale * depth / 2, top + 56 + high, words, 13, INK, "middle"))
    return top + high + 86


def _chart(
    sketch: Sketch,
    box: tuple[float, float, float, float],
    title: str,
    degrees: Array,
    curves: Sequence[tuple[str, Array]],
    band: tuple[float, float] | None = None,
) -> None:
    """Draw curves over the opening in a box (x, y, width, height); `band` is what is allowed."""
    x, y, wide, tall = box
    values = np.concatenate([v[np.isfinite(v)] for _, v in curves] + [np.array(band or ())])
    low, high = float(values.min()), float(values.max())
    pad = max((high - low) * 0.12, 0.5)
    low, high = low - pad, high + pad

    def place(d: Array, v: Array) -> Array:
        return np.stack([x + wide * (180 - d) / 180, y + tall * (high - v) / (high - low)], axis=1)

    if band is not None:
        upper, lower = place(np.zeros(2), np.array([band[1], band[0]]))[:, 1]
        sketch.add(Bar(x, float(upper), wide, float(lower - upper), ALLOWED))
    for tick in ticks(low, high, 4):
        level = float(place(np.zeros(1), np.array([tick]))[0, 1])
        sketch.add(Line(np.array([(x, level), (x + wide, level)]), Pen(PALE, 0.8)))
        sketch.add(Words(x - 6, level + 4, f"{round(tick, 6) + 0.0:g}", 11, GREY, "end"))
    for d in (180, 90, 0):
        at = float(place(np.array([d]), np.zeros(1))[0, 0])
        sketch.add(Words(at, y + tall + 16, f"{d}°", 11, GREY, "middle"))
    sketch.add(Line(np.array([(x, y), (x, y + tall), (x + wide, y + tall)]), Pen(GREY, 1.0)))
    sketch.add(Words(x, y - NAMES - 10, title, 14))
    row, along = 0, x
    for i, (_, v) in enumerate(curves):
        if any(_same(v, w) for _, w in curves[:i]):
            continue  # drawn already, and named there
        colour = CURVES[row % len(CURVES)]
        sketch.add(Line(place(degrees, v), Pen(colour, 2.0)))
        twins = [n for n, w in curves[i:] if _same(v, w)]
        names = ("all" if len(twins) == len(curves) > 2 else ", ".join(twins))[:LONGEST]
        if len(curves) > 1 and row < MOST_NAMES:
            sketch.add(Words(along, y - 8, names, 12, colour))
            along += text_size(names, 12)[0] + 14
        row += 1


def _same(a: Array, b: Array) -> bool:
    return bool(np.allclose(a, b, atol=1e-6, equal_nan=True))


def _charts(sketch: Sketch, spec: Spec, motion: Motion, top: float) -> float:
    """Draw rise, lean and room at the fore edges over the opening."""
    degrees = np.degrees(motion.phi)
    unit = unit_of(spec.units)
    ridges = [(k, v[:, 1] / unit.mm) for k, v in motion.pose.joints.items() if parsed(k).is_top]
    wide, tall = (WIDTH - 2 * MARGIN - 3 * 46 - 20) / 3, 150.0
    x = MARGIN + 46
    title, heights = f"Height of the ridge, {unit.name}", ridges or [("", motion.rise / unit.mm)]
    _chart(sketch, (x, top + 26 + NAMES, wide, tall), title, degrees, heights)
    leans = [(k, np.degrees(v)) for k, v in motion.pose.lean.items()]
    if motion.pose.nod is not None:
        leans.append(("nod (side view)", np.degrees(motion.pose.nod)))
    level = spec.tolerance.level_deg
    if leans:
        box = (x + wide + 56, top + 26 + NAMES, wide, tall)
        _chart(sketch, box, "Lean to the page, degrees", degrees, leans, (-level, level))
    room = [(f"{s} fore edge", -v / unit.mm) for s, v in motion.over.items()]
    title = f"Room left at the fore edge, {unit.name}"
    _chart(
        sketch, (x + (2 if leans else 1) * (wide + 56), top + 26 + NAMES, wide, tall), title, degrees, room
    )
    return top + tall + NAMES + 62


def _sums(sketch: Sketch, spec: Spec, loops: Sequence[Loop], top: float) -> float:
    """Draw the closing sums as two rows of bars each: both must be equally long."""
    n = spec.mechanism.lengths
    unit = unit_of(spec.units)
    sketch.add(Words(MARGIN, top + 4, "Closing sums: shut, both rows of a loop are equally long", 14))
    longest = max(max(loop.sums(n)) for loop in loops)
    columns = 2 if len(loops) > 1 else 1
    wide = (WIDTH - 2 * MARGIN - 30 * (columns - 1)) / columns
    y = top + 22
    for i, loop in enumerate(loops):
        x = MARGIN + (i % columns) * (wide + 30)
        error = loop.error(n)
        off = abs(error) > 0.05
        words = loop.name + (f": {unit.signed(error)} {unit.name}" if off else "")
        sketch.add(Words(x, y + 12, words, 13, VERMILLION if off else INK))
        for row, names in enumerate((loop.one, loop.other)):
            at = x
            for k, name in enumerate(names):
                size = n[name] * loop.weights.get(name, 1.0) * (wide - 10) / longest
                level = y + 18 + 21 * row
                sketch.add(Bar(at, level, max(size - 1.5, 1.0), 18, PALE if k % 2 else BAR))
                part = parsed(name)
                short = part.bare if part.stage == parsed(loop.name).stage else part.sideless
                label = f"{short} {unit.number(n[name])}"
                if 6.2 * len(label) < size:
                    sketch.add(Words(at + 5, level + 13, label, 11))
                at += size
        if i % columns == columns - 1 or i == len(loops) - 1:
            y += 76
    return y


def sweep_sketch(spec: Spec, motion: Motion, found: Study | None = None) -> Sketch:
    """Return the picture of a design's movement; its line says what the text says, `found` is its scatter."""
    sketch = Sketch(WIDTH, 10.0)
    sketch.add(Words(MARGIN, 44, spec.title or spec.source.name, 22))
    wrong = concerns(spec, motion)
    colour = VERMILLION if wrong or falls_short(found) else GREEN
    lines = textwrap.wrap(headline(spec, wrong, found), NOTE_COLUMNS)
    for i, line in enumerate(lines):
        sketch.add(Words(MARGIN, 68 + 18 * i, line, 14, colour))
    y = _frames(sketch, spec, motion, 78 + 18 * len(lines))
    if motion.pose.nod is not None:
        y = _side_views(sketch, spec, motion, y)
    y = _charts(sketch, spec, motion, y + 10)
    loops = [loop for loop in spec.mechanism.loops if not set(loop.one) <= spec.mechanism.degrees]
    if loops:
        y = _sums(sketch, spec, loops[:LOOPS_SHOWN], y + 6)
    draw_legend(sketch, spec, MARGIN, y + 8)
    sketch.height = y + 30
    return sketch


def check_picture_name(path: Path) -> None:
    """Refuse a file name that is not of a picture.

    Raises
    ------
    OutputError : another kind of file.
    """
    if path.suffix.lower() not in (".svg", ".png"):
        raise OutputError(f"cannot write {path.name}: a picture is a .svg or a .png file")


def write_picture(path: Path, sketch: Sketch, *, replace: bool = False) -> None:
    """Write a sketch as .svg or .png.

    Raises
    ------
    OutputError : another kind of file, or it cannot be written.
    """
    check_picture_name(path)
    if path.suffix.lower() == ".svg":
        text = svg.document(sketch, comment="foldgauge: design picture")
        write_whole(path, lambda p: p.write_text(text, encoding="utf-8"), PICTURE, replace=replace)
    else:
        image, mark = image_of(sketch, 1.5), png_mark(PICTURE)
        write_whole(
            path, lambda p: image.save(p, "PNG", optimize=True, pnginfo=mark), PICTURE, replace=replace
        )
