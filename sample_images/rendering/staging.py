"""One photograph to be taken: its parameters, where everything stands, and the truth about it.

Numpy only, so that the truth can be worked out and tested without the renderer.
"""

import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from capture.sheet.marker_sheet import MarkerSheet, sheet_for_paper
from sample_images.rendering.card_dummy import Build, Part, props
from sample_images.rendering.hung import Hung, book
from sample_images.rendering.kinds import FOLD, HIDDEN, Kind
from sample_images.rendering.phone_camera import Camera, Sensor, look_at

Array = NDArray[np.float64]
Colour = tuple[float, float, float]
FULL = (4000, 3000)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """Everything that makes one photo.

    Attributes
    ----------
    name : of the files. spec : name of the spec file. classes : what kind of photo this is.
    kind : the mechanism.
    use : "arch" or "backdrop". paper : which marker sheet.
    title, nominal, nominal_opening : what the spec file says.
    lengths : true lengths, names of `kind.ends` without "feet". opening_deg : true opening.
    faults : what was done wrong on purpose: length -> error, mm.
    build : how the dummy is made. print_scale : x, y. print_shift : of the print on the paper, mm.
    roll_deg : the table in the sheet's frame, counter-clockwise. spine_x : of the dummy on the sheet, mm.
    gap_mm : from the dummy to the sheet. curl_mm : how far the sheet's middle bends away.
    focal_35mm : true 35 mm equivalent (by the diagonal). exif_35mm : what the EXIF says; None = nothing.
    fill : share of the frame's width that the sheet takes. elevation_deg, yaw_deg, tilt_deg : of the camera.
    look : shift of the middle of the picture, share of the frame. distortion : k1, k2.
    centre_off : of the principal point, px at 12 MP. aperture_mm : radius. defocus_mm : sharp plane behind
        (-) or before (+) the measured plane. size : photo size, px.
    light, table, behind : see `surroundings`. card, plane, base : reflectances. core : of cut edges
        of coloured card, None = as the face. exposure : linear level of the white paper.
    sensor : noise, blur, sharpening, quality. seed : for everything random.
    frame : which photo of the same dummy (its noise differs, nothing else). artwork : printed pattern on
        strips and plane. stated_spread_mm : what the spec says of the near ends.
    apron : how the printed strip hangs from the near edge of the base, None = there is none.
    hidden : something stands in front of part of the sheet.
    """

    name: str
    spec: str
    classes: tuple[str, ...] = ()
    kind: Kind = FOLD
    use: str = "arch"
    paper: str = "a4"
    title: str = ""
    nominal: Mapping[str, float] = field(default_factory=dict)
    nominal_opening: float = 180.0
    lengths: Mapping[str, float] = field(default_factory=dict)
    opening_deg: float = 180.0
    faults: Mapping[str, float] = field(default_factory=dict)
    build: Build = field(default_factory=Build)
    print_scale: tuple[float, float] = (1.0, 1.0)
    print_shift: tuple[float, float] = (0.0, 0.0)
    roll_deg: float = 0.0
    spine_x: float = 0.0
    gap_mm: float = 0.2
    curl_mm: float = 0.0
    focal_35mm: float = 52.0
    exif_35mm: int | None = 52
    fill: float = 0.55
    elevation_deg: float = 7.0
    yaw_deg: float = 0.0
    tilt_deg: float = 0.0
    look: tuple[float, float] = (0.0, 0.0)
    distortion: tuple[float, float] = (0.0, 0.0)
    centre_off: tuple[float, float] = (0.0, 0.0)
    aperture_mm: float = 1.4
    defocus_mm: float = 0.0
    size: tuple[int, int] = FULL
    light: str = "soft"
    table: str = "wood"
    behind: str = "dark"
    wall: Colour = (0.55, 0.53, 0.50)
    card: Colour = (0.80, 0.80, 0.78)
    plane: Colour = (0.80, 0.80, 0.78)
    base: Colour = (0.78, 0.78, 0.77)
    core: Colour | None = None
    exposure: float = 0.66
    sensor: Sensor = field(default_factory=lambda: Sensor(white=1.0))
    when: str = "2024:03:09 15:20:00"
    seed: int = 0
    frame: int = 0
    artwork: bool = False
    stated_spread_mm: float = 0.5
    apron: Hung | None = None
    hidden: bool = False


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Stage:
    """Where everything of a shot stands, in sheet coordinates.

    Attributes
    ----------
    rot, shift : dummy point x is at rot @ x + shift. table_y : table top in the dummy frame.
    standoff : z of the measured plane (0 for arch use). joints : joint -> (2,) sheet mm.
    near : panel -> z of its near end less the standoff. parts : solids in the dummy frame.
    sagitta : panel -> bow, mm.
    """

    rot: Array
    shift: Array
    table_y: float
    standoff: float
    joints: dict[str, Array]
    near: dict[str, float]
    parts: list[Part]
    sagitta: dict[str, float]
    camera: Camera
    sheet: MarkerSheet


def stage(shot: Shot) -> Stage:
    """Solve the linkage, cut the strips, set up the sheet and the camera."""
    rng = np.random.default_rng([shot.seed, 1])
    sheet = sheet_for_paper(shot.paper)
    in_dummy = shot.kind.solve(shot.lengths, shot.opening_deg)
    sagitta = {k: s for k, s in shot.build.sagitta_mm.items() if s != 0}
    sagitta |= shot.kind.bows(in_dummy, shot.lengths)
    build = replace(shot.build, sagitta_mm=sagitta)
    parts, near = shot.kind.assemble(in_dummy, shot.opening_deg, build, rng)
    blocks, table_y = props(in_dummy, shot.opening_deg, shot.build)
    if shot.apron:
        table_y -= shot.apron.book_mm
        blocks.append(book(shot.apron, table_y, shot.lengths["page left"], shot.build))
    t = math.radians(shot.roll_deg)
    rot = np.array([[math.cos(t), -math.sin(t), 0.0], [math.sin(t), math.cos(t), 0.0], [0.0, 0.0, 1.0]])
    # the sheet's lower edge stands on the table with the corner where the table is higher
    corner = np.array([math.copysign(sheet.paper_mm[0] / 2, shot.roll_deg), -sheet.paper_mm[1] / 2])
    corner = corner + shot.print_shift
    under_spine = corner[1] + (shot.spine_x - corner[0]) * math.tan(t)
    standoff = 0.0 if shot.use == "arch" else shot.build.base_depth_mm + shot.gap_mm
    plane_z = standoff - (shot.gap_mm if shot.use == "arch" else 0.0)
    down = -table_y
    shift = np.array([shot.spine_x - down * math.sin(t), under_spine + down * math.cos(t), plane_z])
    joints = {k: rot[:2, :2] @ v + shift[:2] for k, v in in_dummy.items()}
    near = {k: z + plane_z - standoff for k, z in near.items()}
    return Stage(
        rot=rot,
        shift=shift,
        table_y=table_y,
        standoff=standoff,
        joints=joints,
        near=near,
        parts=parts + blocks,
        sagitta=sagitta,
        camera=_camera(shot, sheet, joints, standoff),
        sheet=sheet,
    )


def _camera(shot: Shot, sheet: MarkerSheet, joints: Mapping[str, Array], standoff: float) -> Camera:
    wide, high = shot.size
    f_px = shot.focal_35mm * math.hypot(wide, high) / math.hypot(36.0, 24.0)
    distance = sheet.paper_mm[0] * f_px / (shot.fill * wide)
    el, yaw = math.radians(shot.elevation_deg), math.radians(shot.yaw_deg)
    direction = np.array([math.sin(yaw) * math.cos(el), math.sin(el), math.cos(yaw) * math.cos(el)])
    # the picture's middle lies between the middle of the sheet and the near end of the dummy
    target = np.array([0.3 * joints["spine"][0], 0.0, 0.0])
    if standoff > 0:
        target = np.array([0.5 * joints["spine"][0], -0.12 * sheet.paper_mm[1], standoff / 2])
    mm_wide = sheet.paper_mm[0] / shot.fill
    target += [shot.look[0] * mm_wide, shot.look[1] * mm_wide, 0.0]
    eye = target + direction * (distance - target[2])
    rot, shift = look_at(eye, target, shot.tilt_deg)
    ahead = rot @ np.array([*joints.get("ridge", joints["spine"]), standoff]) + shift
    px = wide / FULL[0]
    centre = ((wide - 1) / 2 + px * shot.centre_off[0], (high - 1) / 2 + px * shot.centre_off[1])
    return Camera(
        rot=rot,
        shift=shift,
        f_px=f_px,
        k1=shot.distortion[0],
        k2=shot.distortion[1],
        centre=centre,
        size=shot.size,
        aperture_mm=shot.aperture_mm,
        focus_mm=float(ahead[2]) - shot.defocus_mm,
    )


def truth(shot: Shot, at: Stage) -> dict[str, Any]:
    """Return what is true about the photo, ready for JSON."""
    view = at.camera.view(shot.print_scale)
    names = [k for k in at.joints if not k.startswith(HIDDEN)]
    xyz = np.array([[*at.joints[k], at.standoff] for k in names])
    px = view.project(xyz)
    lengths = shot.kind.lengths_of(at.joints)
    extra = {k: 8 * s * s / (3 * lengths[k]) for k, s in at.sagitta.items() if k in lengths}
    bars = [round(bar.length_mm * s, 1) for bar, s in zip(at.sheet.bars, shot.print_scale, strict=True)]
    out: dict[str, Any] = {
        "use": shot.use,
        "paper": shot.paper,
        "standoff_mm": at.standoff,
        "spec": shot.spec,
        "faults": [{"length": k, "error_mm": v} for k, v in shot.faults.items()],
        "lengths_mm": lengths,
        "extra_arc_mm": extra,
        "sagitta_mm": at.sagitta,
        "angles_deg": shot.kind.angles_of(at.joints),
        "lean_deg": shot.kind.leans_of(at.joints),
        "opening_deg": shot.opening_deg,
        "card_mm": shot.build.card_mm,
        "joints_mm": {k: [float(c) for c in at.joints[k]] for k in names},
        "joints_px": {k: [float(c) for c in p] for k, p in zip(names, px, strict=True)},
        "near_end_z_mm": at.near,
        "print_scale": list(shot.print_scale),
        "bars_read_mm": bars,
        "view_params": [float(p) for p in view.params],
        "size": list(shot.size),
        "classes": list(shot.classes),
    }
    if shot.apron:
        out["apron"] = asdict(shot.apron)
    return out


def write_truth(path: Path, shot: Shot, at: Stage) -> None:
    """Write the truth file in one move."""
    part = path.with_suffix(".part")
    part.write_text(json.dumps(truth(shot, at), indent=1) + "\n")
    part.replace(path)
