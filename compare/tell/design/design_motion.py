"""A design in motion: an animated GIF, or a page with a slider that needs nothing but a browser."""

from pathlib import Path
from typing import Final

import numpy as np
from markupsafe import Markup
from PIL import Image

from compare.compare_errors import OutputError
from compare.design.spec.spec import Spec
from compare.design.study.motion import Motion
from compare.tell.design.design_frames import at_opening, draw_legend, draw_paths, draw_pose, extent
from compare.tell.draw import svg
from compare.tell.draw.marks import Sketch, Words
from compare.tell.draw.palette import BLUE, GREEN, GREY, INK, ORANGE, PALE, PURPLE, WHITE
from compare.tell.draw.raster import image_of
from compare.tell.draw.web_page import page_head, script_data
from compare.tell.result_files import MOTION, write_whole
from compare.units import unit_of
from compare.vocabulary import parsed

WIDTH: Final = 640.0
MARGIN: Final = 24.0
GIF_STEPS: Final = 37
SHADES: Final = 6  # of each colour on the way to white
PAGE_STEPS: Final = 91
FRAME_MS: Final = 60
REST_MS: Final = 900  # open, and shut
SHUT_DEG: Final = 2.0


def frames(spec: Spec, motion: Motion, count: int) -> list[Sketch]:
    """Drawings from the widest opening to (nearly) shut, all alike in size and scale."""
    page = max(spec.base.page_left, spec.base.page_right)
    least = max(float(np.degrees(motion.shut_at)), SHUT_DEG)
    openings = np.linspace(float(np.degrees(motion.opens_to)), least, count)
    poses = [at_opening(spec.mechanism, np.radians(d)) for d in openings]
    sizes = np.array([extent(p, page, float(np.radians(d))) for p, d in zip(poses, openings, strict=True)])
    left, right, low = float(sizes[:, 0].min()), float(sizes[:, 1].max()), float(sizes[:, 2].min())
    high = max(float(sizes[:, 3].max()), page * float(np.cos(np.radians(least) / 2)))
    scale = (WIDTH - 2 * MARGIN) / (right - left)
    base = 56 + scale * (high - low)
    unit = unit_of(spec.units)
    out = []
    for deg, pose in zip(openings, poses, strict=True):
        sketch = Sketch(WIDTH, base + 72)
        origin = (MARGIN - scale * left, base + scale * low)
        draw_paths(sketch, spec, motion.pose, origin, scale)
        draw_pose(sketch, spec, pose, origin, scale)
        sketch.add(Words(MARGIN, 30, spec.title or spec.source.name, 16))
        said = [f"open {deg:.0f}°"]
        ridges = [k for k in pose.joints if parsed(k).is_top]
        said += [f"{k} {unit.words(float(pose.joints[k][1]))}" for k in ridges[-1:]]
        for k, v in list(pose.lean.items())[:2]:
            said.append(f"lean {k} {round(float(np.degrees(v)), 1) + 0.0:+.1f}°")
        sketch.add(Words(MARGIN, base + 32, " · ".join(said), 13, INK))
        draw_legend(sketch, spec, MARGIN, base + 58)
        out.append(sketch)
    return out


def _palette() -> Image.Image:
    """Return an image with our colours and their shades, the same for all frames of a GIF."""
    flat: list[int] = list(WHITE)
    for colour in (INK, GREY, PALE, ORANGE, BLUE, GREEN, PURPLE):
        for k in range(SHADES):
            flat += [round(c + (255 - c) * k / SHADES) for c in colour]
    image = Image.new("P", (1, 1))
    image.putpalette(flat + [255] * (768 - len(flat)))
    return image


def write_gif(path: Path, spec: Spec, motion: Motion, *, replace: bool = False) -> None:
    """Write the movement, open to shut and back, as an endless GIF."""
    palette = _palette()
    images = [
        image_of(s).quantize(palette=palette, dither=Image.Dither.NONE)
        for s in frames(spec, motion, GIF_STEPS)
    ]
    there_and_back = images + images[-2:0:-1]
    times = [FRAME_MS] * len(there_and_back)
    times[0] = times[len(images) - 1] = REST_MS

    def save(target: Path) -> None:
        first, *rest = there_and_back
        first.save(
            target,
            "GIF",
            save_all=True,
            append_images=rest,
            duration=times,
            loop=0,
            optimize=True,
            comment=MOTION.mark,
        )

    write_whole(path, save, MOTION, replace=replace)


_STYLE: Final = """
body{font-family:Helvetica,Arial,sans-serif;max-width:720px;margin:1.5rem auto;padding:0 1rem;color:#262a30}
svg{width:100%;height:auto}input{width:100%}p{color:#7d828a;font-size:.9rem}"""
_SCRIPT: Final = """
const frames=JSON.parse(document.getElementById("frames").textContent);
const d=document.getElementById("drawing"),o=document.getElementById("opening");
function show(){d.innerHTML=frames[o.value]}o.addEventListener("input",show);show();"""
_PAGE: Final = Markup("""<!doctype html>
<html lang="en"><head>{head}
<title>{title}</title>
<style>{style}</style></head>
<body><div id="drawing" role="img" aria-label="the design seen end-on"></div>
<label for="opening">Open and shut it:</label>
<input id="opening" type="range" min="0" max="{last}" value="0" step="1">
<p>Drag, or use the arrow keys. Drawn by foldgauge from {name}.</p>
<script type="application/json" id="frames">{frames}</script>
<script>{script}</script></body></html>
""")


def page_of(spec: Spec, motion: Motion) -> str:
    """Return a web page, complete in one file, in which a slider opens and shuts the design."""
    drawings = [svg.document(s) for s in frames(spec, motion, PAGE_STEPS)]
    return _PAGE.format(
        head=page_head("design motion", style=_STYLE, script=_SCRIPT),
        title=spec.title or spec.source.name,
        style=Markup(_STYLE),
        last=len(drawings) - 1,
        name=spec.source.name,
        frames=script_data(drawings),
        script=Markup(_SCRIPT),
    )


def check_motion_name(path: Path) -> None:
    """Refuse a file name that is not of a moving picture.

    Raises
    ------
    OutputError : another kind of file.
    """
    if path.suffix.lower() not in (".gif", ".html", ".htm"):
        raise OutputError(f"cannot write {path.name}: a moving picture is a .gif or an .html file")


def write_motion(path: Path, spec: Spec, motion: Motion, *, replace: bool = False) -> None:
    """Write the movement as .gif or .html.

    Raises
    ------
    OutputError : another kind of file, or it cannot be written.
    """
    check_motion_name(path)
    if path.suffix.lower() == ".gif":
        write_gif(path, spec, motion, replace=replace)
    else:
        text = page_of(spec, motion)
        write_whole(path, lambda p: p.write_text(text, encoding="utf-8"), MOTION, replace=replace)
