"""A two-sided dummy with round numbers, as layout and as exact lines; shared by tests of the measure room.

Spine at the origin, pages flat. Fold 40 mm with feet 12 mm from the spine, so the ridge is
sqrt(40^2 - 12^2) mm high; legs of 40 mm, 48 mm further out, make parallelograms with fold and plane.
"""

import numpy as np

from measure.geometry import Curve
from measure.joints.joint_location import PanelLine
from measure.layout import Layout, Panel, Role

HEIGHT = float(np.sqrt(40.0**2 - 12.0**2))
CARD, BASE = 0.3, 0.35


def at_opening(opening_deg: float) -> dict[str, tuple[float, float]]:
    """Joints of the dummy with its pages at an angle: fold and ridge stay on the axis, the rest follows."""
    tilt = np.radians((180.0 - opening_deg) / 2)
    along = np.array([np.cos(tilt), np.sin(tilt)])
    foot = 12.0 * along
    ridge = np.array([0.0, foot[1] + np.sqrt(40.0**2 - foot[0] ** 2)])
    right = {
        "inner foot right": foot,
        "outer foot right": 60.0 * along,
        "fore edge right": 100.0 * along,
        "leg top right": ridge + 48.0 * along,
        "plane edge right": ridge + 70.0 * along,
    }
    out = {"spine": (0.0, 0.0), "ridge": (float(ridge[0]), float(ridge[1]))}
    for name, (x, y) in right.items():
        out[name] = (float(x), float(y))
        out[name.replace("right", "left")] = (-float(x), float(y))
    return out


JOINTS = at_opening(180.0)


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


def dummy_layout(opening_deg: float = 180.0, **changes: tuple[float, float]) -> Layout:
    """Layout of the dummy; joints may be moved by name ("leg_top_right" for "leg top right")."""
    xy = at_opening(opening_deg) | {name.replace("_", " "): at for name, at in changes.items()}
    return Layout(
        joint_names=tuple(xy),
        xy_mm=np.array(list(xy.values())),
        panels=panels("right") + panels("left"),
        opening_deg=opening_deg,
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
