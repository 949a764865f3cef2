"""Photos from above: the calibration board, and a shut dummy lying on the uncut sheet.

The paper's plane is z = 0 and the table just under it; the camera looks down. Numpy only.
"""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from capture.sheet.marker_sheet import MarkerSheet, sheet_for_paper
from sample_images.rendering.cards.card_dummy import Part
from sample_images.rendering.cards.meshes import box
from sample_images.rendering.scene.phone_camera import Camera, Sensor, look_at

Array = NDArray[np.float64]
FULL = (4000, 3000)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lens:
    """What is the same in all photos of one phone.

    Attributes
    ----------
    focal_35mm : true 35 mm equivalent (by the diagonal). exif_35mm : what the EXIF says.
    distortion : k1, k2. centre_off : of the principal point, px at 4000 px width.
    """

    focal_35mm: float = 52.0
    exif_35mm: int = 52
    distortion: tuple[float, float] = (0.0, 0.0)
    centre_off: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Above:
    """One photo from above.

    Attributes
    ----------
    name : of the file. spec : of a shut dummy. paper, board : which paper lies there; the board or the sheet.
    parts : solids that lie on it, sheet coordinates. facts : what the truth file says beyond the camera.
    lens, size : the phone. middle : what the camera looks at, mm. distance_mm : from there.
    lean_deg : how far the line of sight leans from upright, to the right and up.
    roll_deg : turn of the picture.
    """

    name: str
    paper: str = "a4"
    board: bool = False
    spec: str | None = None
    parts: tuple[Part, ...] = ()
    facts: Mapping[str, Any] = field(default_factory=dict)
    print_scale: tuple[float, float] = (1.0, 1.0)
    lens: Lens = field(default_factory=Lens)
    size: tuple[int, int] = FULL
    middle: tuple[float, float] = (0.0, 0.0)
    distance_mm: float = 600.0
    lean_deg: tuple[float, float] = (0.0, 0.0)
    roll_deg: float = 0.0
    aperture_mm: float = 1.2
    table: str = "wood"
    light: str = "soft"
    exposure: float = 0.66
    sensor: Sensor = field(default_factory=lambda: Sensor(white=1.0))
    when: str = "2024:04:02 11:05:00"
    seed: int = 0

    @property
    def sheet(self) -> MarkerSheet:
        """The paper's size and marks."""
        return sheet_for_paper(self.paper)

    def camera(self) -> Camera:
        """Return where the camera is and what lens it has."""
        wide, high = self.size
        f_px = self.lens.focal_35mm * math.hypot(wide, high) / math.hypot(36.0, 24.0)
        target = np.array([*self.middle, 0.0])
        right, up = (math.tan(math.radians(a)) for a in self.lean_deg)
        direction = np.array([right, up, 1.0]) / math.hypot(1.0, right, up)
        rot, shift = look_at(target + self.distance_mm * direction, target, self.roll_deg)
        px = wide / FULL[0]
        off = self.lens.centre_off
        return Camera(
            rot=rot, shift=shift, f_px=f_px, k1=self.lens.distortion[0], k2=self.lens.distortion[1],
            centre=((wide - 1) / 2 + px * off[0], (high - 1) / 2 + px * off[1]), size=self.size,
            aperture_mm=self.aperture_mm, focus_mm=self.distance_mm,
        )  # fmt: skip

    def truth(self) -> dict[str, Any]:
        """Return what is true about the photo, ready for JSON."""
        cam = self.camera()
        bars = [round(b.length_mm * s, 1) for b, s in zip(self.sheet.bars, self.print_scale, strict=True)]
        return {
            "use": "board" if self.board else "closed",
            "paper": self.paper,
            **({"spec": self.spec} if self.spec else {}),
            **self.facts,
            "print_scale": list(self.print_scale),
            **({} if self.board else {"bars_read_mm": bars}),
            "view_params": [float(p) for p in cam.view(self.print_scale).params],
            "lens": {"f_px": cam.f_px, "k1": cam.k1, "k2": cam.k2, "centre": list(cam.centre)},
            "size": list(self.size),
        }

    def write_truth(self, path: Path) -> None:
        """Write the truth file in one move."""
        part = path.with_suffix(".part")
        part.write_text(json.dumps(self.truth(), indent=1) + "\n")
        part.replace(path)


def shut(
    lengths: Mapping[str, float], strip_depth: float, base_depth: float, card: float, base: float
) -> tuple[list[Part], dict[str, Any]]:
    """Solids and facts of a shut dummy with a parallelogram on both sides, lying on its right page.

    Spine along +y at x = 0, fore edges to the right, near end at y = 0, underside at z = 0. Shut, everything
    lies flat in layers; what reaches beyond a page's fore edge is what sticks out.
    """
    parts: list[Part] = []
    layers: list[tuple[float, float, float, str]] = []  # from x, to x, underside, stuff
    z = base
    for side, order in (("right", (0, 1)), ("left", (1, 0))):
        foot, fold, page_a, plane_a, leg, plane = (
            lengths[f"{k} {side}"] for k in ("foot", "fold", "page spacing", "plane spacing", "leg", "plane")
        )
        ridge, outer = foot + fold, foot + page_a
        under = [(foot, ridge, "card"), (outer, min(outer + leg, ridge + plane_a), "card")]
        over = [(ridge, ridge + plane, "plane")]
        for k in order:
            for x0, x1, stuff in (under, over)[k]:
                layers.append((x0, x1, z, stuff))
            z += card
    thick = z + base
    for x0, x1, low, stuff in layers:
        corner = np.array([x0, -0.0, low])
        parts.append(Part(box(corner, np.array([x1, strip_depth, low + 0.96 * card])), stuff))
    wide = {s: lengths[f"page {s}"] for s in ("right", "left")}
    parts.append(Part(box(np.zeros(3), np.array([wide["right"], base_depth, base])), "base"))
    parts.append(Part(box(np.array([0.0, 0.0, z]), np.array([wide["left"], base_depth, thick])), "base"))
    parts.append(Part(box(np.array([-0.15, 0.0, 0.0]), np.array([0.0, base_depth, thick])), "base"))
    reach = {s: lengths[f"foot {s}"] + lengths[f"fold {s}"] + lengths[f"plane {s}"] for s in wide}
    beyond = max(reach.values()) - max(wide.values())
    out = {"edge": "fore edge", "mm": beyond, "from_mm": 0.0, "to_mm": strip_depth}
    facts = {
        "thickness_mm": thick,
        "outline_mm": [max(wide.values()), base_depth],
        "reach_mm": reach,
        "protrusions": [out] if beyond > 0 else [],
    }
    return parts, facts
