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
from capture.sheet.sill import SILL_SHEETS
from sample_images.rendering.cards.card_dummy import Build, Part, props
from sample_images.rendering.cards.kinds import FOLD, HIDDEN, Kind
from sample_images.rendering.cards.own_linkage import SIDES, page_direction
from sample_images.rendering.scene.hung import Hung, book
from sample_images.rendering.scene.laid_paper import (
    PAPER_MM,
    Band,
    Folded,
    Laid,
    Piece,
    band_of,
    doorstep_band,
    piece,
)
from sample_images.rendering.scene.phone_camera import Camera, Sensor, look_at
from sample_images.rendering.scene.standing import (
    Standing,
    about_x,
    about_y,
    about_z,
    page_top,
    spine_height,
    supports,
)

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
    standing : how sheet and spread stand to each other, None = squarely, on the table.
    sill : how the sheet's lower band is folded forward, None = it is not. doorstep : how one is laid.
    sill_print : the sheet was printed with a sill.
    told : what the spec says of the page's thickness, mm; None = nothing, "true" = what it is.
    calibrated : a camera file goes with the photo.
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
    standing: Standing | None = None
    sill: Folded | None = None
    doorstep: Laid | None = None
    sill_print: bool = False
    told: float | str | None = "true"
    calibrated: bool = False


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Stage:
    """Where everything of a shot stands, in sheet coordinates.

    Attributes
    ----------
    rot, shift : dummy point x is at rot @ x + shift. table_y : table top in the dummy frame.
    table_rot, table_shift : the same for points over the table (y = 0), near ends about z = 0.
    standoff : z of the measured plane (0 for arch use). joints : joint -> (2,) sheet mm.
    near : panel -> z of its near end less the standoff. parts : solids in the dummy frame.
    sagitta : panel -> bow, mm.
    points : joint -> (3,) sheet mm, truly. pieces : of the folded sill, in the sheet's frame.
    steps : pieces of the doorstep, likewise.
    """

    rot: Array
    shift: Array
    table_rot: Array
    table_shift: Array
    table_y: float
    standoff: float
    joints: dict[str, Array]
    near: dict[str, float]
    parts: list[Part]
    sagitta: dict[str, float]
    camera: Camera
    sheet: MarkerSheet
    points: dict[str, Array]
    pieces: tuple[Piece, ...] = ()
    steps: tuple[Piece, ...] = ()


def stage(shot: Shot) -> Stage:
    """Solve the linkage, cut the strips, set up the sheet and the camera."""
    rng = np.random.default_rng([shot.seed, 1])
    sheet = sheet_of(shot)
    in_dummy = shot.kind.solve(shot.lengths, shot.opening_deg)
    sagitta = {k: s for k, s in shot.build.sagitta_mm.items() if s != 0}
    sagitta |= shot.kind.bows(in_dummy, shot.lengths)
    build = replace(shot.build, sagitta_mm=sagitta)
    parts, near = shot.kind.assemble(in_dummy, shot.opening_deg, build, rng)
    stand = shot.standing or Standing()
    if shot.standing is None:
        blocks, table_y = props(in_dummy, shot.opening_deg, shot.build)
    else:
        wide = {s: math.hypot(*in_dummy[f"fore edge {s}"]) for s in SIDES}
        blocks = supports(shot.opening_deg, stand.tip_deg, wide, shot.build)
        table_y = -spine_height(shot.opening_deg, stand.tip_deg, shot.build)
    if shot.apron:
        table_y -= shot.apron.book_mm
        blocks.append(book(shot.apron, table_y, shot.lengths["page left"], shot.build))
    standoff = 0.0 if shot.use == "arch" else shot.build.behind_mm + shot.gap_mm
    plane_z = standoff - (shot.gap_mm if shot.use == "arch" else 0.0)
    table_rot = about_z(_roll(shot)) @ about_y(stand.turn_deg) @ about_x(stand.lean_deg)
    on_sheet, on_table = _anchor(shot, sheet, plane_z)
    table_shift = on_sheet - table_rot @ on_table
    rot = table_rot @ about_z(stand.tip_deg)
    shift = table_shift + table_rot @ np.array([0.0, -table_y, 0.0])
    points = {k: rot @ np.array([*v, 0.0]) + shift for k, v in in_dummy.items()}
    joints = {k: v[:2] for k, v in points.items()}
    return Stage(
        rot=rot,
        shift=shift,
        table_rot=table_rot,
        table_shift=table_shift,
        table_y=table_y,
        standoff=standoff,
        joints=joints,
        near={k: _near_z(shot, k, z, in_dummy, rot, shift) - standoff for k, z in near.items()},
        parts=parts + blocks,
        sagitta=sagitta,
        camera=_camera(shot, sheet, joints, standoff),
        sheet=sheet,
        points=points,
        pieces=tuple(_sill_pieces(shot, sheet, table_rot)),
        steps=tuple(_doorstep_pieces(shot, table_rot, table_shift)),
    )


def sheet_of(shot: Shot) -> MarkerSheet:
    """Return the sheet that was printed for a shot."""
    return SILL_SHEETS[shot.paper] if shot.sill_print else sheet_for_paper(shot.paper)


def _near_z(shot: Shot, panel: str, z: float, joints: Mapping[str, Array], rot: Array, shift: Array) -> float:
    """Depth of a panel's near end in the sheet's frame, at the panel's middle."""
    ends = [joints[k] for k in shot.kind.panels.get(panel, ()) if k in joints]
    middle = np.mean(ends, axis=0) if ends else np.zeros(2)
    return float(rot[2] @ np.array([*middle, z]) + shift[2])


def _roll(shot: Shot) -> float:
    """Turn of the table in the sheet's plane: a folded sheet stands on its fold."""
    return shot.sill.turn_deg if shot.sill else shot.roll_deg


def _half_wide(shot: Shot, sheet: MarkerSheet) -> float:
    """How far from the spine a straight fold or edge of the sheet touches the pages."""
    return min(sheet.paper_mm[0] / 2, *(_page_mm(shot, s) for s in SIDES))


def _page_mm(shot: Shot, side: str) -> float:
    n = shot.lengths
    return n[f"page {side}"] if f"page {side}" in n else n[f"page {side} 1"] + n[f"page {side} 2"]


def fold_height(shot: Shot, sheet: MarkerSheet) -> float:
    """Return the true height of the sill's fold on the flat paper, at the sheet's middle, mm."""
    assert shot.sill is not None
    return sill_band(shot, sheet).fold_y * shot.print_scale[1] + shot.sill.off_mm


def sill_band(shot: Shot, sheet: MarkerSheet) -> Band:
    """Return the band that is folded, down to the paper's true edge."""
    band = band_of(sheet)
    edge = -sheet.paper_mm[1] / 2 + shot.print_shift[1]
    return replace(band, depth_mm=band.fold_y - edge / shot.print_scale[1])


def _touch(shot: Shot, sheet: MarkerSheet, floats_mm: float) -> float:
    """Height over the table of a straight edge of paper lying across both pages."""
    tip = shot.standing.tip_deg if shot.standing else 0.0
    at = _half_wide(shot, sheet)
    return max(page_top(x, shot.opening_deg, tip, shot.build) for x in (-at, 0.0, at)) + floats_mm


def _anchor(shot: Shot, sheet: MarkerSheet, plane_z: float) -> tuple[Array, Array]:
    """Return a point of the sheet (sheet frame), and where it stands (table frame)."""
    t = math.radians(_roll(shot))
    if shot.sill:
        x = shot.sill.tick_off_mm
        on_sheet = np.array([-x, fold_height(shot, sheet) - x * math.tan(t), 0.0])
        return on_sheet, np.array([0.0, _touch(shot, sheet, shot.sill.floats_mm) + PAPER_MM, -plane_z])
    # the sheet's lower edge stands on the table with the corner where the table is higher
    corner = np.array([math.copysign(sheet.paper_mm[0] / 2, shot.roll_deg), -sheet.paper_mm[1] / 2])
    corner = corner + shot.print_shift
    under_spine = corner[1] + (shot.spine_x - corner[0]) * math.tan(t)
    on_page = shot.standing is not None and shot.standing.on_page
    high = _touch(shot, sheet, 0.0) if on_page else 0.0
    return np.array([shot.spine_x, under_spine, 0.0]), np.array([0.0, high, -plane_z])


def _sill_pieces(shot: Shot, sheet: MarkerSheet, table_rot: Array) -> list[Piece]:
    """Pieces of the folded sill, in the sheet's frame."""
    if shot.sill is None:
        return []
    band = sill_band(shot, sheet)
    t = math.radians(shot.sill.turn_deg)
    fold = fold_height(shot, sheet)
    out = []
    for i, lie in enumerate(shot.sill.lies):
        placed = piece(
            band, i, lie, fold_mm=fold, fold_turn_deg=shot.sill.turn_deg, line_at=np.zeros(3),
            line_along=table_rot.T @ np.array([math.cos(t), math.sin(t), 0.0]),
            page_along=_page_along(shot, band.spans[i]), scale=shot.print_scale,
        )  # fmt: skip
        at = np.array([0.0, fold, 0.0])
        out.append(_carried(placed, table_rot, at))
    return out


def _doorstep_pieces(shot: Shot, table_rot: Array, table_shift: Array) -> list[Piece]:
    """Pieces of the doorstep, in the sheet's frame."""
    if shot.doorstep is None:
        return []
    sheet = sheet_of(shot)
    laid = shot.doorstep
    band = doorstep_band(sheet)
    tip = shot.standing.tip_deg if shot.standing else 0.0
    high = page_top(0.0, shot.opening_deg, tip, shot.build) + laid.floats_mm + PAPER_MM
    along = about_y(laid.turn_deg) @ np.array([1.0, 0.0, 0.0])
    out = []
    for i, lie in enumerate(laid.lies):
        placed = piece(
            band, i, lie, fold_mm=band.fold_y * shot.print_scale[1], fold_turn_deg=0.0,
            line_at=np.array([laid.tick_off_mm, high, laid.gap_mm]), line_along=along,
            page_along=_page_along(shot, band.spans[i]), scale=shot.print_scale,
        )  # fmt: skip
        out.append(_carried(placed, table_rot, table_shift))
    return out


def _page_along(shot: Shot, span: tuple[float, float]) -> Array:
    """Direction to the right of the page under a piece of the sill, table frame."""
    tip = shot.standing.tip_deg if shot.standing else 0.0
    side = "right" if sum(span) >= 0 else "left"
    flat = page_direction(side, shot.opening_deg) * (1 if side == "right" else -1)
    out: Array = about_z(tip) @ np.array([*flat, 0.0])
    return out


def _carried(placed: Piece, rot: Array, shift: Array) -> Piece:
    return replace(
        placed, origin=rot @ placed.origin + shift, along=rot @ placed.along, forward=rot @ placed.forward,
        up=rot @ placed.up, coin=None if placed.coin is None else rot @ placed.coin + shift,
    )  # fmt: skip


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
    square = shot.standing is None
    xyz = np.array([[*at.joints[k], at.standoff] if square else at.points[k] for k in names])
    px = view.project(xyz)
    lengths = shot.kind.lengths_of(at.joints if square else at.points)
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
    if shot.standing:
        out |= spread_truth(shot, at)
    return out


def spread_truth(shot: Shot, at: Stage) -> dict[str, Any]:
    """Return what is true of a real spread beyond the rest: page, setback, ink, how sheet and sill stand."""
    assert shot.standing is not None
    b = shot.build
    out: dict[str, Any] = {
        "page_thickness_mm": b.base_mm,
        "page_thickness_told_mm": b.base_mm if shot.told == "true" else shot.told,
        "page_edge_in_front_of_near_ends_mm": b.setback_mm,
        "inked_near_ends": b.ink is not None,
        "ink": asdict(b.ink) if b.ink else None,
        "near_end_sd_mm": b.near_sd_mm,
        "one_page_on_the_table": abs(abs(shot.standing.tip_deg) - (180 - shot.opening_deg) / 2) < 0.3,
        "standing": asdict(shot.standing),
        "calibrated": shot.calibrated,
        "nominal_mm": dict(shot.nominal),
        "sheet_with_sill": shot.sill_print,
        "joints_depth_mm": {k: float(p[2]) for k, p in at.points.items() if not k.startswith(HIDDEN)},
    }
    if shot.sill:
        view = at.camera.view()
        line = [p.origin + u * p.along for p in at.pieces for u in p.span]
        spine = at.points["spine"]
        out["sill"] = asdict(shot.sill) | {
            "fold_line_mm": [[float(c) for c in p] for p in line],
            "fold_line_px": view.project(np.array(line)).tolist(),
            "spine_below_fold_mm": float(
                np.interp(spine[0], [line[0][0], line[-1][0]], [line[0][1], line[-1][1]])
            )
            - float(spine[1]),
        }
        out["tick_beside_spine_mm"] = shot.sill.tick_off_mm
    if shot.doorstep:
        out["doorstep"] = asdict(shot.doorstep)
        out["tick_beside_spine_mm"] = shot.doorstep.tick_off_mm
    return out


def write_truth(path: Path, shot: Shot, at: Stage) -> None:
    """Write the truth file in one move."""
    part = path.with_suffix(".part")
    part.write_text(json.dumps(truth(shot, at), indent=1) + "\n")
    part.replace(path)
