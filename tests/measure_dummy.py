"""A two-sided dummy with round numbers, as layout and as exact lines; shared by tests of the measure room.

Spine at the origin, pages flat. Fold 40 mm with feet 12 mm from the spine, so the ridge is
sqrt(40^2 - 12^2) mm high; legs of 40 mm, 48 mm further out, make parallelograms with fold and plane.
"""

import numpy as np

from measure.joints import PanelLine
from measure.layout import Layout, Panel, Role
from measure.strip import Curve

HEIGHT = float(np.sqrt(40.0**2 - 12.0**2))
RIGHT = {
    "inner foot right": (12.0, 0.0),
    "outer foot right": (60.0, 0.0),
    "fore edge right": (100.0, 0.0),
    "leg top right": (48.0, HEIGHT),
    "plane edge right": (70.0, HEIGHT),
}
JOINTS: dict[str, tuple[float, float]] = {
    "spine": (0.0, 0.0),
    "ridge": (0.0, HEIGHT),
    **RIGHT,
    **{name.replace("right", "left"): (-x, y) for name, (x, y) in RIGHT.items()},
}
CARD, BASE = 0.3, 0.35


def panels(side: str) -> tuple[Panel, ...]:
    return (
        Panel(
            name=f"page {side}",
            joints=("spine", f"inner foot {side}", f"outer foot {side}", f"fore edge {side}"),
            role=Role.PAGE,
            free_end=True,
        ),
        Panel(name=f"fold {side}", joints=(f"inner foot {side}", "ridge"), role=Role.FOLD),
        Panel(
            name=f"plane {side}",
            joints=("ridge", f"leg top {side}", f"plane edge {side}"),
            role=Role.PLANE,
            free_end=True,
        ),
        Panel(name=f"leg {side}", joints=(f"outer foot {side}", f"leg top {side}"), role=Role.LEG),
    )


def dummy_layout(**changes: tuple[float, float]) -> Layout:
    """Layout of the dummy; joints may be moved by name ("leg_top_right" for "leg top right")."""
    xy = JOINTS | {name.replace("_", " "): at for name, at in changes.items()}
    return Layout(
        joint_names=tuple(xy),
        xy_mm=np.array(list(xy.values())),
        panels=panels("right") + panels("left"),
        opening_deg=180.0,
        card_mm=CARD,
        depth_mm=60.0,
        near_end_sd_mm=0.5,
        base_mm=BASE,
    )


def exact_lines(layout: Layout, bows: dict[str, float] | None = None) -> list[PanelLine]:
    """One line per panel exactly through its first and last joint (and bowed in between if wanted)."""
    bows = bows or {}
    out = []
    for panel in layout.panels:
        curve = Curve(
            a=layout.at(panel.joints[0]), b=layout.at(panel.joints[-1]), bow=bows.get(panel.name, 0.0)
        )
        out.append(
            PanelLine(
                name=panel.name,
                role=panel.role,
                joints=panel.joints,
                curve=curve,
                fit_cov=np.diag([0.05, 0.05, 0.02]) ** 2,
                layer_sd_mm=0.03,
                weight_sd_mm=0.08 if panel.role is Role.PLANE else 0.05,
            )
        )
    return out
