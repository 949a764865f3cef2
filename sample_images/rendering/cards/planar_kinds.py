"""Mechanisms whose strips all run parallel to the spine: supports, several legs, stages, flaps, scissors."""

import math
from collections.abc import Callable, Mapping

import numpy as np

from sample_images.rendering.cards import card_dummy as dummy
from sample_images.rendering.cards import own_linkage as linkage
from sample_images.rendering.cards.card_dummy import Build, Cutter, Part, bowed, page_directions, toward
from sample_images.rendering.cards.kinds import (
    FOLD,
    HIDDEN,
    Array,
    Joints,
    Kind,
    halves,
    page_ends,
    panels_of,
)
from sample_images.rendering.cards.own_linkage import LENGTHS, SIDES, meet, page_direction


def root(f: Callable[[float], float], near: float, step: float) -> float:
    """Return where f is zero, by secants from `near`.

    Raises
    ------
    ValueError : not found.
    """
    a, b = near, near + step
    fa, fb = f(a), f(b)
    for _ in range(60):
        if fb == fa:
            break
        a, b, fa = b, b - fb * (b - a) / (fb - fa), fb
        fb = f(b)
        if abs(fb) < 1e-12:
            return b
    if abs(fb) < 1e-9:
        return b
    raise ValueError("these lengths do not close")


# --- a parallelogram on the right; on the left a plain support, its tab left of the ridge ---------------


def _solve_support(n: Mapping[str, float], opening: float) -> dict[str, Array]:
    left, right = (page_direction(s, opening) for s in SIDES)
    joints = {"spine": np.zeros(2)}
    joints |= {f"fore edge {s}": n[f"page {s}"] * page_direction(s, opening) for s in SIDES}
    joints["support foot left"] = n["support foot left"] * left
    joints["inner foot right"] = n["foot right"] * right
    joints["outer foot right"] = (n["foot right"] + n["page spacing right"]) * right
    tab, spacing = -n["support tab left"], n["plane spacing right"]
    level = math.atan2(right[1], right[0])

    def pose(turn: float) -> tuple[Array, Array]:
        """Ridge, and direction of the plane, when the plane is turned by this much off its page."""
        along = np.array([math.cos(level + turn), math.sin(level + turn)])
        # seen from the ridge, the support's top is `tab` further along the plane
        foot = joints["support foot left"] - tab * along
        high = np.array([0.0, 1e6])
        return meet(foot, n["support left"], joints["inner foot right"], n["fold right"], high), along

    def gap(turn: float) -> float:
        ridge, along = pose(turn)
        return math.hypot(*(ridge + spacing * along - joints["outer foot right"])) - n["leg right"]

    ridge, along = pose(root(gap, 0.0, 1e-3))
    joints |= {
        "ridge": ridge,
        "support top left": ridge + tab * along,
        "leg top right": ridge + spacing * along,
    }
    joints["plane edge right"] = ridge + n["plane right"] * along
    return joints


def _assemble_support(
    joints: Joints, opening: float, build: Build, rng: np.random.Generator
) -> tuple[list[Part], dict[str, float]]:
    cutter = Cutter(build, rng)
    along = page_directions(opening)
    plane = toward(joints["ridge"], joints["plane edge right"])
    dummy.pages(cutter, joints)
    room = math.hypot(*(joints["support top left"] - joints["ridge"])) - 0.8
    for name, foot, top, side, under in (
        ("fold right", "inner foot right", "ridge", "right", build.tab_mm),
        ("support left", "support foot left", "support top left", "left", min(build.tab_mm, room)),
    ):
        a, b = joints[foot], joints[top]
        panel = bowed(a, b, build.sagitta_mm.get(name, 0.0))
        line = np.vstack([a + build.tab_mm * along[side], a, panel, b + under * plane])
        ends = (build.tab_mm, build.tab_mm + math.hypot(*(b - a)))
        cutter.cut(line, "card", build.card_mm, build.strip_depth_mm, {name: ends})
    dummy.leg(cutter, joints, "right", along["right"])
    # one flat card from the support to the outer edge
    line = np.array([joints["support top left"], joints["plane edge right"]])
    at = math.hypot(*(joints["ridge"] - line[0]))
    ends = (at, at + math.hypot(*(line[1] - joints["ridge"])))
    top = dummy.parallel(line, build.card_mm)
    cutter.cut(top, "plane", build.card_mm, build.strip_depth_mm, {"plane right": ends})
    return cutter.parts, cutter.near


_SUPPORT_ENDS = page_ends() | {
    "feet": ("support foot left", "inner foot right"),
    "support foot left": ("spine", "support foot left"),
    "support left": ("support foot left", "support top left"),
    "support tab left": ("ridge", "support top left"),
    **{k: v for k, v in LENGTHS.items() if k.endswith(" right")},
}
SUPPORT = Kind(
    solve=_solve_support,
    ends=_SUPPORT_ENDS,
    panels=panels_of(_SUPPORT_ENDS, "page", "fold", "support", "leg", "plane"),
    halves={"right": ("plane right", "page right", 1.0)},
    assemble=_assemble_support,
)


# --- two legs under the right half ----------------------------------------------------------------------


def _solve_legs(n: Mapping[str, float], opening: float) -> dict[str, Array]:
    # the leg that holds the plane lowest is tight; the others have card to spare and bow
    u = page_direction("right", opening)
    poses = []
    for i in (1, 2):
        one = dict(n) | {k: n[k.replace(" right", f" {i} right")] for k in _LEG_LENGTHS}
        poses.append(linkage.solve(one, opening))
    turn = [FOLD.leans_of(p)["right"] for p in poses]
    joints = poses[int(np.argmin(turn))]
    along = toward(joints["ridge"], joints["plane edge right"])
    for k in ("outer foot right", "leg top right"):
        del joints[k]
    for i in (1, 2):
        joints[f"outer foot {i} right"] = joints["inner foot right"] + n[f"page spacing {i} right"] * u
        joints[f"leg top {i} right"] = joints["ridge"] + n[f"plane spacing {i} right"] * along
    return joints


def _leg_bows(joints: Joints, lengths: Mapping[str, float]) -> dict[str, float]:
    out = {}
    for i in (1, 2):
        chord = math.hypot(*(joints[f"leg top {i} right"] - joints[f"outer foot {i} right"]))
        spare = lengths[f"leg {i} right"] - chord
        if spare > 1e-6:  # a shallow arc is longer than its chord by 8 s^2 / (3 chord)
            out[f"leg {i} right"] = -math.sqrt(3 / 8 * chord * spare)
    return out


def _assemble_legs(
    joints: Joints, opening: float, build: Build, rng: np.random.Generator
) -> tuple[list[Part], dict[str, float]]:
    cutter = Cutter(build, rng)
    along = page_directions(opening)
    dummy.pages(cutter, joints)
    dummy.fold(cutter, joints, along)
    dummy.leg(cutter, joints, "left", along["left"])
    for i in (1, 2):
        dummy.leg(cutter, joints, "right", along["right"], number=f"{i} ")
    dummy.plane(cutter, joints)
    return cutter.parts, cutter.near


_LEG_LENGTHS = ("page spacing right", "plane spacing right", "leg right")
_LEGS_ENDS = {k: v for k, v in LENGTHS.items() if k not in _LEG_LENGTHS} | {
    name.format(i): (a.format(i), b.format(i))
    for i in (1, 2)
    for name, a, b in (
        ("page spacing {} right", "inner foot right", "outer foot {} right"),
        ("plane spacing {} right", "ridge", "leg top {} right"),
        ("leg {} right", "outer foot {} right", "leg top {} right"),
    )
}
LEGS = Kind(
    solve=_solve_legs,
    ends=_LEGS_ENDS,
    panels=panels_of(_LEGS_ENDS, "page", "fold", "leg", "leg 1", "leg 2", "plane"),
    halves=halves(),
    assemble=_assemble_legs,
    bows=_leg_bows,
)


# --- stages: a second and a third construction on the first plane ----------------------------------------

STAGES_CARD_MM = 0.3
"""Card of the stages: tabs on a plane lie two thicknesses above the tabs under it."""

_STAGES = ("", "stage 2 ", "stage 3 ")


def _solve_stages(n: Mapping[str, float], opening: float) -> dict[str, Array]:
    joints = linkage.solve({k: v for k, v in n.items() if not k.startswith("stage")}, opening)
    for below, stage in zip(_STAGES[:-1], _STAGES[1:], strict=True):
        ridge = joints[f"{below}ridge"]
        along = {s: toward(ridge, joints[f"{below}plane edge {s}"]) for s in SIDES}
        top_line = np.array([ridge + along["left"], ridge, ridge + along["right"]])
        spine = dummy.parallel(top_line, 2 * STAGES_CARD_MM)[1]
        joints[f"{HIDDEN}{stage}spine"] = spine
        for s in SIDES:
            joints[f"{stage}inner foot {s}"] = spine + n[f"{stage}foot {s}"] * along[s]
        top = meet(
            joints[f"{stage}inner foot left"], n[f"{stage}fold left"],
            joints[f"{stage}inner foot right"], n[f"{stage}fold right"], spine + np.array([0.0, 1e6]),
        )  # fmt: skip
        joints[f"{stage}ridge"] = top
        for s in SIDES:
            foot = joints[f"{stage}inner foot {s}"] + n[f"{stage}page spacing {s}"] * along[s]
            spacing = n[f"{stage}plane spacing {s}"]
            leg_top = meet(top, spacing, foot, n[f"{stage}leg {s}"], top + spacing * along[s])
            joints |= {f"{stage}outer foot {s}": foot, f"{stage}leg top {s}": leg_top}
            joints[f"{stage}plane edge {s}"] = top + n[f"{stage}plane {s}"] * toward(top, leg_top)
    return joints


def _assemble_stages(
    joints: Joints, opening: float, build: Build, rng: np.random.Generator
) -> tuple[list[Part], dict[str, float]]:
    cutter = Cutter(build, rng)
    dummy.pages(cutter, joints)
    below: Mapping[str, Array] = page_directions(opening)
    for stage in _STAGES:
        dummy.fold(cutter, joints, below, stage)
        for s in SIDES:
            dummy.leg(cutter, joints, s, below[s], stage)
        dummy.plane(cutter, joints, stage)
        below = {s: toward(joints[f"{stage}ridge"], joints[f"{stage}plane edge {s}"]) for s in SIDES}
    return cutter.parts, cutter.near


def _stage_ends(stage: str) -> dict[str, tuple[str, str]]:
    own = {k: v for k, v in LENGTHS.items() if not k.startswith(("page left", "page right"))}
    spine = f"{HIDDEN}{stage}spine"
    return {
        f"{stage}{k}": (spine if a == "spine" else f"{stage}{a}", f"{stage}{b}") for k, (a, b) in own.items()
    }


_STAGES_ENDS = dict(LENGTHS) | _stage_ends("stage 2 ") | _stage_ends("stage 3 ")
STAGES = Kind(
    solve=_solve_stages,
    ends=_STAGES_ENDS,
    panels=panels_of(_STAGES_ENDS, "page", *(f"{t}{p}" for t in _STAGES for p in ("fold", "leg", "plane"))),
    halves=halves() | halves("stage 2 ") | halves("stage 3 "),
    assemble=_assemble_stages,
)


# --- flaps pulled up by straps from the plane's edges -----------------------------------------------------


def _solve_flaps(n: Mapping[str, float], opening: float) -> dict[str, Array]:
    joints = linkage.solve(n, opening)
    for s in SIDES:
        hinge = n[f"flap hinge {s}"] * page_direction(s, opening)
        edge = joints[f"plane edge {s}"]
        high = (hinge + edge) / 2 + np.array([0.0, 1e6])
        joints[f"flap hinge {s}"] = hinge
        joints[f"strap end {s}"] = meet(hinge, n[f"flap {s}"], edge, n[f"strap {s}"], high)
    return joints


def _assemble_flaps(
    joints: Joints, opening: float, build: Build, rng: np.random.Generator
) -> tuple[list[Part], dict[str, float]]:
    parts, near = dummy.assemble(joints, opening, build, rng)
    cutter = Cutter(build, rng)
    for s in SIDES:
        hinge, end, edge = (joints[f"{k} {s}"] for k in ("flap hinge", "strap end", "plane edge"))
        inward = toward(edge, joints["ridge"])
        # page tab on the near side of the hinge; the strap's own tab fills what the leg's tab leaves free
        free = math.hypot(*(edge - joints[f"leg top {s}"])) - 0.4
        tab = hinge - build.tab_mm * page_direction(s, opening)
        line = np.array([tab, hinge, end, edge, edge + free * inward])
        at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
        ends = {f"flap {s}": (at[1], at[2]), f"strap {s}": (at[2], at[3])}
        cutter.cut(line, "card", build.card_mm, build.strip_depth_mm, ends)
    return parts + cutter.parts, near | cutter.near


_FLAPS_ENDS = dict(LENGTHS) | {
    name.format(s): (a.format(s), b.format(s))
    for s in SIDES
    for name, a, b in (
        ("flap hinge {}", "spine", "flap hinge {}"),
        ("flap {}", "flap hinge {}", "strap end {}"),
        ("strap {}", "plane edge {}", "strap end {}"),
    )
}
FLAPS = Kind(
    solve=_solve_flaps,
    ends=_FLAPS_ENDS,
    panels=panels_of(_FLAPS_ENDS, "page", "fold", "leg", "plane", "flap", "strap"),
    halves=halves(),
    assemble=_assemble_flaps,
)


# --- scissors: two strips crossing in a slit, a roof on their ends ----------------------------------------


def _solve_scissors(n: Mapping[str, float], opening: float) -> dict[str, Array]:
    joints = {"spine": np.zeros(2)}
    for s in SIDES:
        u = page_direction(s, opening)
        joints[f"inner foot {s}"] = n[f"page {s} 1"] * u
        joints[f"fore edge {s}"] = (n[f"page {s} 1"] + n[f"page {s} 2"]) * u
    high = np.array([0.0, 1e6])
    cross = meet(
        joints["inner foot left"], n["strip left 1"], joints["inner foot right"], n["strip right 1"], high
    )
    joints["crossing"] = cross
    for s, other in (("right", "left"), ("left", "right")):
        joints[f"top {other}"] = cross + n[f"strip {s} 2"] * toward(joints[f"inner foot {s}"], cross)
    joints["apex"] = meet(joints["top left"], n["roof left"], joints["top right"], n["roof right"], high)
    return joints


def _assemble_scissors(
    joints: Joints, opening: float, build: Build, rng: np.random.Generator
) -> tuple[list[Part], dict[str, float]]:
    cutter = Cutter(build, rng)
    along = page_directions(opening)
    dummy.pages(cutter, joints)
    names = ("inner foot right", "top left", "apex", "top right", "inner foot left")
    line = np.array(
        [
            joints[names[0]] + build.tab_mm * along["right"],
            *(joints[k] for k in names),
            joints[names[-1]] + build.tab_mm * along["left"],
        ]
    )
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    panels = ("strip right", "roof left", "roof right", "strip left")
    ends = {k: (at[i + 1], at[i + 2]) for i, k in enumerate(panels)}
    cutter.cut(line, "card", build.card_mm, build.strip_depth_mm, ends)
    return cutter.parts, cutter.near


_SCISSORS_ENDS = {
    name.format(s, o): (a.format(s, o), b.format(s, o))
    for s, o in (("left", "right"), ("right", "left"))
    for name, a, b in (
        ("page {0} 1", "spine", "inner foot {0}"),
        ("page {0} 2", "inner foot {0}", "fore edge {0}"),
        ("strip {0} 1", "inner foot {0}", "crossing"),
        ("strip {0} 2", "crossing", "top {1}"),
        ("roof {0}", "top {0}", "apex"),
    )
}
SCISSORS = Kind(
    solve=_solve_scissors,
    ends=_SCISSORS_ENDS,
    panels=page_ends()
    | {f"strip {s}": (f"inner foot {s}", f"top {o}") for s, o in (("left", "right"), ("right", "left"))}
    | {f"roof {s}": (f"top {s}", "apex") for s in SIDES},
    halves={},
    assemble=_assemble_scissors,
)
