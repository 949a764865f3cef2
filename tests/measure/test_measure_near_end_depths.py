"""Depths of near ends from the tabs' heights: a dummy of known joints seen by a known camera."""

from dataclasses import replace

import numpy as np
import pytest

from measure.geometry import Curve
from measure.inked.ink_lines import InkLines, locate
from measure.inked.near_end_depths import astray, evenness, solve_depths
from measure.inked.near_end_plane import PageSurface
from measure.layout import Layout, Panel, Role

EYE = np.array([15.0, 110.0, 600.0])
JOINTS = {
    "spine": (0.0, 0.0),
    "inner foot left": (-20.0, 0.0),
    "inner foot right": (20.0, 0.0),
    "outer foot left": (-55.0, 0.0),
    "outer foot right": (55.0, 0.0),
    "ridge": (0.0, 38.0),
    "leg top left": (-35.0, 38.0),
    "leg top right": (35.0, 38.0),
    "plane edge left": (-45.0, 38.0),
    "plane edge right": (45.0, 38.0),
}
CARD, PLANE = 0.3, 0.28


def layout() -> Layout:
    panels = []
    for side in ("left", "right"):
        feet = (f"inner foot {side}", f"outer foot {side}")
        panels += [
            Panel(name=f"page {side}", joints=("spine", *feet), role=Role.PAGE, side=side),
            Panel(name=f"fold {side}", joints=(feet[0], "ridge"), role=Role.FOLD, side=side),
            Panel(name=f"leg {side}", joints=(feet[1], f"leg top {side}"), role=Role.LEG, side=side),
            Panel(
                name=f"plane {side}",
                joints=("ridge", f"leg top {side}", f"plane edge {side}"),
                role=Role.PLANE,
                side=side,
                free_end=True,
            ),
        ]
    names = tuple(JOINTS)
    return Layout(
        joint_names=names,
        xy_mm=np.array([JOINTS[n] for n in names]),
        panels=tuple(panels),
        opening_deg=180.0,
        card_mm=CARD,
        depth_mm=50.0,
        near_end_sd_mm=0.5,
    )


def seen(offset: float, turn: float, own: dict[str, float]) -> InkLines:
    """Lines as they are seen in the sheet's plane when near ends stand behind it, turned, and unevenly."""

    def at(xy: np.ndarray, piece: str) -> np.ndarray:
        # The near ends' plane turns about the vertical; its millimetres are the dummy's.
        xyz = np.array([xy[0] * np.cos(turn), xy[1], offset + xy[0] * np.sin(turn) + own.get(piece, 0.0)])
        share = EYE[2] / (EYE[2] - xyz[2])
        return np.asarray(EYE[:2] + (xyz[:2] - EYE[:2]) * share)

    def curve(a: np.ndarray, b: np.ndarray, piece: str) -> Curve:
        return Curve(a=at(a, piece), b=at(b, piece))

    strips, tabs, edges, up, ends = {}, {}, {}, {}, {}
    for panel in layout().panels:
        a, b = (np.array(JOINTS[j]) for j in (panel.joints[0], panel.joints[-1]))
        piece = "fold" if panel.role is Role.FOLD else "plane" if panel.role is Role.PLANE else panel.name
        if panel.role in (Role.FOLD, Role.LEG):
            strips[panel.name] = curve(a, b, piece)
            tabs[panel.joints[0]] = curve(a + (1.0, 0.0), a + (7.0, 0.0), piece)
        elif panel.role is Role.PLANE:
            lift = np.array([0.0, PLANE + CARD / 2])
            edges[panel.name] = curve(a + lift, b + lift, piece)
            up[panel.name] = 1.0 if edges[panel.name].normal[1] > 0 else -1.0
            ends[panel.name] = edges[panel.name].length
    corners = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 40.0]])
    pages = {
        "page left": PageSurface(corners_mm=corners * (-100.0, 1.0, 1.0)),
        "page right": PageSurface(corners_mm=corners * (100.0, 1.0, 1.0)),
    }
    return InkLines(
        layout=layout(),
        eye_mm=EYE,
        z_mm=0.0,
        strips=strips,
        tabs=tabs,
        edges=edges,
        up=up,
        ends=ends,
        card_mm=CARD,
        plane_mm=PLANE,
        pages=pages,
        heights_cov=1e-6 * np.eye(4),
        spine_mm=np.zeros(3),
        pages_marked=True,
    )


def worst(lines: InkLines) -> float:
    """Largest error of any distance between neighbouring joints, mm."""
    depths = solve_depths(lines, dict.fromkeys(lines.tabs, 0.002))
    located = locate(lines, depths.plane(), depths.own(), depths.heights())
    at = dict(zip(located.names, located.xy_mm, strict=True))
    return max(
        abs(float(np.hypot(*(at[a] - at[b]))) - layout().length(a, b))
        for p in layout().panels
        for a, b in zip(p.joints[:-1], p.joints[1:], strict=True)
    )


@pytest.mark.parametrize(("offset", "turn"), [(0.0, 0.0), (-1.5, 0.0), (-0.8, 0.012), (0.4, -0.009)])
def test_offset_and_turn_of_the_near_ends_are_found(offset: float, turn: float) -> None:
    lines = replace(seen(offset, turn, {}), own_sd_mm=0.1)  # evenly cut, and known to be
    depths = solve_depths(lines, dict.fromkeys(lines.tabs, 0.002))
    assert depths.unknowns[1] == pytest.approx(np.tan(turn), abs=0.003)
    # Uncorrected, the sheet's plane taken for the near ends', lengths are wrong by 0.1 to 0.2 mm.
    assert worst(lines) < 0.03


def test_how_unevenly_near_ends_stand_is_told_by_their_tabs() -> None:
    even = seen(-0.6, 0.0, {})
    tab_sd = dict.fromkeys(even.tabs, 0.002)
    uneven = seen(-0.6, 0.0, {"fold": 1.4, "leg left": -1.6, "leg right": 1.1})
    told = layout().near_end_sd_mm
    assert evenness(even, tab_sd) < 0.9 * told and evenness(uneven, tab_sd) > 1.4 * told


def test_each_strip_has_its_own_depth() -> None:
    own = {"fold": 0.3, "leg left": -0.4, "leg right": 0.2, "plane": 0.3}
    lines = seen(-0.6, 0.004, own)
    solved = solve_depths(lines, dict.fromkeys(lines.tabs, 0.002)).own()
    assert solved["leg left"] - solved["leg right"] == pytest.approx(-0.6, abs=0.2)
    assert worst(lines) < 0.06


def test_a_tab_that_does_not_lie_with_the_others_is_told() -> None:
    lines = seen(-0.5, 0.0, {})
    sd, two_sided = dict.fromkeys(lines.tabs, 0.01), dict.fromkeys(lines.tabs, 1.0)
    assert astray(lines, sd, two_sided) == ""
    tab = lines.tabs["outer foot left"]
    low = Curve(a=tab.a - (0.0, 0.8), b=tab.b - (0.0, 0.8))
    wrong = replace(lines, tabs={**lines.tabs, "outer foot left": low})
    assert astray(wrong, sd, two_sided) == "outer foot left"
