"""Mechanisms with panels aslant to the spine: a V-fold carrying a plane, a pillar of two V-folds.

Their near edges all lie in the near plane, so the joints seen end-on follow from plane geometry; what is
behind is built from slabs. The base lies flat (180 degrees): there the panels' near edges stand in the near
plane, and only there.
"""

import math
from collections.abc import Mapping

import numpy as np

from sample_images.rendering.cards import card_dummy as dummy
from sample_images.rendering.cards.card_dummy import Build, Cutter, Part, page_directions, toward
from sample_images.rendering.cards.kinds import Array, Joints, Kind, halves, page_ends, panels_of
from sample_images.rendering.cards.meshes import Mesh, join, quads
from sample_images.rendering.cards.own_linkage import SIDES, meet, page_direction

_SIGN = {"left": -1.0, "right": 1.0}


def slab(corners: Array, thick: float) -> tuple[Mesh, Mesh]:
    """Faces and cut edges of a flat card: corners (N, 3) of its middle surface, convex, in order."""
    normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
    normal = normal / np.linalg.norm(normal) * thick / 2
    u = (corners[1] - corners[0]) / np.linalg.norm(corners[1] - corners[0])
    uv = np.column_stack([corners @ u, corners @ np.cross(normal, u) * 2 / thick]) / 100.0
    fan = [[0, i, i + 1, i + 1] for i in range(1, len(corners) - 1)]
    faces = [quads((corners + side)[fan], uv[fan]) for side in (normal, -normal)]
    after = np.roll(corners, -1, axis=0)
    rim = np.stack([corners - normal, after - normal, after + normal, corners + normal], axis=1)
    return join(faces), quads(rim, np.zeros((len(rim), 4, 2)))


def _add(cutter: Cutter, stuff: str, corners: Array, thick: float) -> None:
    faces, cuts = slab(corners, thick)
    cutter.parts.append(Part(faces, stuff))
    if cutter.build.ink is None:
        cutter.parts.append(Part(cuts, f"{stuff} cut"))
        return
    # the pen runs along what lies in the near ends' plane
    rim = cuts.xyz.reshape(-1, 4, 3)
    near = rim[:, :, 2].min(axis=1) > -thick
    for name, which in ((f"{stuff} cut", ~near), ("ink", near)):
        if which.any():
            cutter.parts.append(Part(quads(rim[which], np.zeros((which.sum(), 4, 2))), name))


def _flat(opening: float) -> None:
    if opening != 180:
        raise ValueError("V-folds are built for a flat base only")


# --- V-fold carrying a plane -------------------------------------------------------------------------------


def vfold(near_mm: float, crease_lean: float, glue_deg: Mapping[str, float]) -> Kind:
    """Return the kind for a V point `near_mm` behind the near end.

    Parameters
    ----------
    crease_lean : sideways share of the crease's direction (0: it stands upright), the rest is upwards.
    glue_deg : angle of each glue line to the spine.
    """
    across = {s: math.tan(math.radians(glue_deg[s])) for s in SIDES}
    crease = np.array([crease_lean, math.sqrt(1 - crease_lean**2)])

    def solve(n: Mapping[str, float], opening: float) -> dict[str, Array]:
        _flat(opening)
        joints = {"spine": np.zeros(2)}
        pitch = []
        for s in SIDES:
            u = page_direction(s, opening)
            joints[f"fore edge {s}"] = n[f"page {s}"] * u
            foot = n[f"vfold foot {s}"] * u
            joints |= {f"vfold foot {s}": foot, f"vfold top {s}": foot + n["vfold right"] * crease}
            if f"leg {s}" not in n:
                continue
            outer, spacing = foot + n[f"page spacing {s}"] * u, n[f"plane spacing {s}"]
            top = joints[f"vfold top {s}"]
            leg_top = meet(top, spacing, outer, n[f"leg {s}"], top + spacing * u)
            joints |= {f"outer foot {s}": outer, f"leg top {s}": leg_top}
            slope = (leg_top - top)[1] / abs((leg_top - top)[0])
            pitch.append(-slope * across[s])
        # Both halves turn about their V panel's top line and share the crease: one pitch for both.
        # With the base flat the pitch itself costs no strain, so the tightest leg sets it.
        nod = max(pitch)
        for s in SIDES:
            slope = -nod / across[s]
            along = np.array([_SIGN[s], slope]) / math.hypot(1.0, slope)
            top = joints[f"vfold top {s}"]
            if f"leg {s}" in n:
                joints[f"leg top {s}"] = top + n[f"plane spacing {s}"] * along
            joints[f"~along {s}"] = along
        right = joints["vfold top right"]
        along = joints.pop("~along right")
        x = crease_lean * n["vfold right"]  # the two V panels have this crease in common
        ridge = right + along * (x - right[0]) / along[0]
        joints["ridge"] = ridge
        joints["plane edge right"] = ridge + n["plane right"] * along
        joints["plane edge left"] = ridge + n["plane left"] * joints.pop("~along left")
        return joints

    def assemble(
        joints: Joints, opening: float, build: Build, rng: np.random.Generator
    ) -> tuple[list[Part], dict[str, float]]:
        cutter = Cutter(build, rng)
        dummy.pages(cutter, joints)
        nod = (joints["ridge"][1] - joints["vfold top right"][1]) / near_mm
        for s in SIDES:
            along = toward(joints["ridge"], joints[f"plane edge {s}"])
            for name, foot, top in (
                (f"vfold {s}", f"vfold foot {s}", f"vfold top {s}"),
                (f"leg {s}", f"outer foot {s}", f"leg top {s}"),
            ):
                if foot in joints:
                    _aslant(cutter, joints[foot], joints[top], s, math.radians(glue_deg[s]), along)
                    cutter.near[name] = 0.0
        before = len(cutter.parts)
        dummy.plane(cutter, joints)
        # the plane nods: what was extruded along the spine follows its crease instead
        nods = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, nod], [0.0, 0.0, 1.0]])
        cutter.parts[before:] = [
            Part(p.mesh.moved(nods, np.zeros(3)), p.stuff) for p in cutter.parts[before:]
        ]
        return cutter.parts, cutter.near

    def _aslant(cutter: Cutter, foot: Array, top: Array, side: str, glue: float, along: Array) -> None:
        """Add one V panel or its copy, with a tab on the page and one under the plane, behind it."""
        b = cutter.build
        line = np.array([_SIGN[side] * math.sin(glue), 0.0, math.cos(glue)])  # V point to near end
        long = near_mm / math.cos(glue)
        near_low, near_top = np.array([*foot, 0.0]), np.array([*top, 0.0])
        far_low, far_top = near_low - long * line, near_top - long * line
        _add(cutter, "card", np.array([near_low, near_top, far_top, far_low]), b.card_mm)
        behind = np.array([_SIGN[side] * math.cos(glue), 0.0, -math.sin(glue)]) * b.tab_mm
        _add(cutter, "card", np.array([near_low, far_low, far_low + behind, near_low + behind]), b.card_mm)
        out = np.array([*along, 0.0])
        in_plane = out - (out @ line) * line  # along the plane, square to the panel's top line
        behind = in_plane / np.linalg.norm(in_plane) * b.tab_mm
        _add(cutter, "card", np.array([near_top, far_top, far_top + behind, near_top + behind]), b.card_mm)

    ends = page_ends() | {
        name.format(s): (a.format(s), b.format(s))
        for s in SIDES
        for name, a, b in (
            ("vfold foot {}", "spine", "vfold foot {}"),
            ("vfold {}", "vfold foot {}", "vfold top {}"),
            ("vfold top {}", "ridge", "vfold top {}"),
            ("page spacing {}", "vfold foot {}", "outer foot {}"),
            ("plane spacing {}", "vfold top {}", "leg top {}"),
            ("leg {}", "outer foot {}", "leg top {}"),
            ("plane {}", "ridge", "plane edge {}"),
        )
    }
    return Kind(
        solve=solve,
        ends=ends,
        panels=panels_of(ends, "page", "vfold", "leg", "plane"),
        halves=halves(),
        assemble=assemble,
    )


VFOLD_NEAR_MM = 28.28
VFOLD = vfold(VFOLD_NEAR_MM, 0.0, {"left": 45.0, "right": 45.0})
VFOLD_UNEVEN = vfold(28.28, 0.1236, {"left": 40.0, "right": 50.0})


# --- pillar of two facing V-folds under a plane ----------------------------------------------------------

PILLAR_GAP_MM, PILLAR_MIDDLE_MM, PILLAR_WIDTH_MM, PILLAR_GLUE_DEG = 52.0, 60.0, 34.0, 45.0


def _solve_pillar(n: Mapping[str, float], opening: float) -> dict[str, Array]:
    _flat(opening)
    joints = {"spine": np.zeros(2), "ridge": np.array([0.0, n["height"]])}
    for s in SIDES:
        u = page_direction(s, opening)
        foot, spacing = n[f"page spacing {s}"] * u, n[f"plane spacing {s}"]
        top = meet(joints["ridge"], spacing, foot, n[f"leg {s}"], joints["ridge"] + spacing * u)
        joints |= {f"fore edge {s}": n[f"page {s}"] * u, f"outer foot {s}": foot, f"leg top {s}": top}
        joints[f"plane edge {s}"] = joints["ridge"] + n[f"plane {s}"] * toward(joints["ridge"], top)
    return joints


def _assemble_pillar(
    joints: Joints, opening: float, build: Build, rng: np.random.Generator
) -> tuple[list[Part], dict[str, float]]:
    cutter = Cutter(build, rng)
    dummy.pages(cutter, joints)
    for s, u in page_directions(opening).items():
        dummy.leg(cutter, joints, s, u)
    dummy.plane(cutter, joints)
    high, glue = joints["ridge"][1], math.radians(PILLAR_GLUE_DEG)
    for towards in (1.0, -1.0):  # the V-fold nearer to the camera, then the other: they face each other
        point = np.array([0.0, 0.0, -PILLAR_MIDDLE_MM + towards * PILLAR_GAP_MM / 2])
        tip = point + np.array([0.0, high - 0.4 * build.card_mm, 0.0])
        for s in SIDES:
            line = np.array([_SIGN[s] * math.sin(glue), 0.0, -towards * math.cos(glue)])
            end = point + PILLAR_WIDTH_MM * line
            _add(cutter, "card", np.array([point, end, tip]), build.card_mm)
            out = np.array([_SIGN[s] * math.cos(glue), 0.0, towards * math.sin(glue)]) * build.tab_mm
            _add(cutter, "card", np.array([point, end, end + out, point + out]), build.card_mm)
    return cutter.parts, cutter.near


_PILLAR_ENDS = page_ends() | {"height": ("spine", "ridge")} | {
    name.format(s): (a.format(s), b.format(s))
    for s in SIDES
    for name, a, b in (
        ("page spacing {}", "spine", "outer foot {}"),
        ("plane spacing {}", "ridge", "leg top {}"),
        ("leg {}", "outer foot {}", "leg top {}"),
        ("plane {}", "ridge", "plane edge {}"),
    )
}  # fmt: skip
PILLAR = Kind(
    solve=_solve_pillar,
    ends=_PILLAR_ENDS,
    panels=panels_of(_PILLAR_ENDS, "page", "leg", "plane"),
    halves=halves(),
    assemble=_assemble_pillar,
)
