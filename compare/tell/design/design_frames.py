"""One opening of a design drawn end-on (and from the side, where it moves along the spine)."""

from typing import Final

import numpy as np

from capture.arrays import Array
from compare.design.linkage.mechanism import Mechanism
from compare.design.linkage.pose import Pose
from compare.design.spec.spec import Spec
from compare.tell.draw.marks import Dot, Line, Sketch, Words, text_size
from compare.tell.draw.palette import BLUE, GREEN, GREY, INK, ORANGE, PALE, PURPLE, Colour, Pen
from compare.vocabulary import Kind, parsed
from measure.layout import Panel, Role

CARD_PX: Final = 3.0
PATH_STEP: Final = 5  # of the openings of a sweep; a path needs no more
KINDS: Final[tuple[tuple[str, Colour], ...]] = (
    ("page", INK),
    ("fold or V-fold", ORANGE),
    ("leg or support", BLUE),
    ("plane", GREEN),
    ("flap and strap", PURPLE),
)


def colour_of(panel: Panel) -> Colour:
    """Return the colour of a panel by what it is."""
    if parsed(panel.name).kind in (Kind.FLAP, Kind.STRAP):
        return PURPLE
    return {Role.PAGE: INK, Role.FOLD: ORANGE, Role.LEG: BLUE, Role.PLANE: GREEN}[panel.role]


def at_opening(mechanism: Mechanism, phi: float) -> Pose:
    """Return the pose at one opening, rad."""
    return mechanism.solve({}, np.array(phi))


def extent(pose: Pose, page: float, phi: float) -> tuple[float, float, float, float]:
    """Return left, right, lowest and highest coordinate of card and pages, mm."""
    xy = np.array([v for v in pose.joints.values() if np.isfinite(v).all()])
    half = page * np.sin(phi / 2)
    left, right = min(float(xy[:, 0].min()), -half), max(float(xy[:, 0].max()), half)
    return left, right, min(float(xy[:, 1].min()), 0.0), float(xy[:, 1].max())


def draw_pose(
    sketch: Sketch, spec: Spec, pose: Pose, origin: tuple[float, float], scale: float, *, dots: bool = True
) -> None:
    """Draw a pose end-on.

    Parameters
    ----------
    origin : where the spine comes to lie in the picture; scale : picture units per mm.
    """

    def place(xy: Array) -> Array:
        return np.array([origin[0] + scale * xy[..., 0], origin[1] - scale * xy[..., 1]]).T

    mechanism = spec.mechanism
    for outline in mechanism.outlines:
        line = np.array([pose.points[p][..., :2] for p in outline])
        if np.isfinite(line).all():
            sketch.add(Line(place(line), Pen(GREY, 1.0)))
    order = sorted(mechanism.panels, key=lambda p: p.role is not Role.PAGE)
    for panel in order:
        line = np.array([pose.joints[panel.joints[0]], pose.joints[panel.joints[-1]]])
        if np.isfinite(line).all():
            width = CARD_PX * (1.4 if panel.role is Role.PAGE else 1.0)
            sketch.add(Line(place(line), Pen(colour_of(panel), width)))
    if dots:
        for name, xy in pose.joints.items():
            if np.isfinite(xy).all() and parsed(name).kind not in (Kind.FORE_EDGE, Kind.PLANE_EDGE):
                x, y = place(xy)
                sketch.add(Dot(float(x), float(y), CARD_PX * 0.75, INK))


def has_path(joint: str) -> bool:
    """Return whether the path of a joint is worth drawing."""
    n = parsed(joint)
    return n.is_ridge or n.kind in (Kind.PLANE_EDGE, Kind.STRAP_END)


def draw_paths(sketch: Sketch, spec: Spec, swept: Pose, origin: tuple[float, float], scale: float) -> None:
    """Draw the paths of ridges and plane edges through the whole movement, thin."""
    for name, xy in swept.joints.items():
        if has_path(name):
            x, y = origin[0] + scale * xy[::PATH_STEP, 0], origin[1] - scale * xy[::PATH_STEP, 1]
            sketch.add(Line(np.stack([x, y], axis=1), Pen(PALE, 1.2)))


def draw_side(sketch: Sketch, spec: Spec, pose: Pose, origin: tuple[float, float], scale: float) -> None:
    """Draw a pose seen from the right, camera side to the left: only what moves along the spine.

    origin : the near end of the spine; the base runs to the right from it.
    """
    depth = spec.base.depth or spec.card.strip_depth

    def place(p: Array) -> tuple[float, float]:
        return origin[0] - scale * float(p[2]), origin[1] - scale * float(p[1])

    sketch.add(Line(np.array([origin, (origin[0] + scale * depth, origin[1])]), Pen(INK, CARD_PX * 1.4)))
    for outline in spec.mechanism.outlines:
        if not any(parsed(p).side for p in outline):
            line = np.array([place(pose.points[p]) for p in outline])
            if np.isfinite(line).all():
                sketch.add(Line(line, Pen(ORANGE, CARD_PX)))
    back = min(spec.card.strip_depth, depth)
    if pose.nod is None or not np.isfinite(pose.nod):
        return
    if spec.mechanism.glued_at:  # its near edge is flush with the base when open, and travels with that point
        tip = pose.points[spec.mechanism.glued_at]
        level = at_opening(spec.mechanism, spec.opening).points[spec.mechanism.glued_at]
        first = tip - float(level[2]) * np.array([0.0, np.tan(float(pose.nod)), 1.0])
    else:
        first = pose.points["ridge"]
    last = first - back * np.array([0.0, np.sin(float(pose.nod)), np.cos(float(pose.nod))])
    sketch.add(Line(np.array([place(first), place(last)]), Pen(GREEN, CARD_PX)))


def draw_legend(sketch: Sketch, spec: Spec, x: float, y: float) -> None:
    """Draw which colour is what, only for the kinds there are."""
    there = {colour_of(p) for p in spec.mechanism.panels}
    for words, colour in KINDS:
        if colour in there:
            sketch.add(Line(np.array([(x, y - 4), (x + 20, y - 4)]), Pen(colour, CARD_PX)))
            sketch.add(Words(x + 26, y, words))
            x += 26 + text_size(words, 13.0)[0] + 20
