"""Linkages given by their joints: laid out by pairs of panels where that is possible, else by iteration."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar, Final

import numpy as np

from capture.arrays import Array
from compare.compare_errors import SpecError
from compare.design.constructions.drawn_linkage.drawn_form import Drawing
from compare.design.constructions.drawn_linkage.follow_joints import Follow
from compare.design.linkage.mechanism import Half, Mechanism
from compare.design.linkage.pose import turn_of
from compare.design.linkage.steps import Bench, Cost, Dyad, Pages, Place, Step, Terms
from compare.vocabulary import PAGES, Kind, half_of_panel, named, parsed
from measure.layout import Panel
from measure.sides import SIDES

STRAIGHT_MM: Final = 0.05  # joints of a panel must lie on a line to this


def gap_names(name: str, joints: Sequence[str]) -> tuple[str, ...]:
    """Names of the lengths along a panel: its own name, or numbered if it has more than two joints."""
    if len(joints) == 2:
        return (name,)
    return tuple(f"{name} {i + 1}" for i in range(len(joints) - 1))


@dataclass(slots=True)
class _Drafting:
    """A drawn linkage in the making."""

    drawing: Drawing
    opening_deg: float
    lengths: dict[str, float]
    along: dict[str, tuple[tuple[str, Terms], ...]]  # panel -> joints and their distances
    steps: list[Step]

    def at(self, joint: str) -> Array:
        return np.array(self.drawing.joints[joint])

    def terms(self, panel: str, a: str, b: str) -> Terms:
        """Return the way from joint a to joint b along a panel, as a sum of lengths (signs included)."""
        joints = dict(self.along[panel])
        out = dict(joints[b])
        for k, c in joints[a].items():
            out[k] = out.get(k, 0.0) - c
        return {k: c for k, c in out.items() if c != 0.0}


def _measure(drawing: Drawing, name: str, joints: Sequence[str]) -> tuple[float, ...]:
    """Return the lengths between successive joints of a panel; refuse one that is not straight."""
    xy = np.array([drawing.joints[j] for j in joints])
    way = xy[-1] - xy[0]
    span = float(np.hypot(*way))
    if span < 1e-6:
        raise SpecError(f"[[panel]] {name!r}: its first and last joint lie at the same place")
    off = np.abs((xy[:, 0] - xy[0, 0]) * way[1] - (xy[:, 1] - xy[0, 1]) * way[0]) / span
    if np.max(off) > STRAIGHT_MM:
        worst = joints[int(np.argmax(off))]
        raise SpecError(
            f"[[panel]] {name!r}: joint {worst!r} lies {np.max(off):.2f} mm off the line from "
            f"{joints[0]!r} to {joints[-1]!r}; a panel is straight, use two panels for a bent one"
        )
    steps = np.diff(xy @ way / span)
    if np.min(steps) < 1e-6:
        raise SpecError(f"[[panel]] {name!r}: name its joints in their order along it")
    return tuple(float(s) for s in steps)


def _lay(d: _Drafting, known: dict[str, str], panel: str, start: str) -> None:
    """Place every joint of a panel whose direction and one joint are known."""
    for joint, _ in d.along[panel]:
        if joint not in known:
            d.steps.append(Place(joint, panel, start, d.terms(panel, start, joint)))
            known[joint] = panel


def _pair(d: _Drafting, known: dict[str, str], open_panels: list[str]) -> bool:
    """Lay one pair of panels that hang on known joints and meet; False if there is none."""
    for i, first in enumerate(open_panels):
        for second in open_panels[i + 1 :]:
            meet = [j for j, _ in d.along[first] if j in dict(d.along[second]) and j not in known]
            hangs = [next((j for j, _ in d.along[p] if j in known), "") for p in (first, second)]
            if len(meet) != 1 or not all(hangs):
                continue
            a, b, x = d.at(hangs[0]), d.at(hangs[1]), d.at(meet[0])
            cross = float((b - a)[0] * (x - a)[1] - (b - a)[1] * (x - a)[0])
            if abs(cross) < STRAIGHT_MM * float(np.hypot(*(b - a))) or np.allclose(a, b):
                raise SpecError(
                    f"[joints] {meet[0]!r} lies in line with {hangs[0]!r} and {hangs[1]!r}, so the drawing "
                    "does not tell to which side it folds; draw it at another opening"
                )
            d.steps.append(_dyad(d, (first, second), (hangs[0], hangs[1]), meet[0], 1 if cross > 0 else -1))
            known[meet[0]] = first
            for panel in (first, second):
                _lay(d, known, panel, meet[0])
                open_panels.remove(panel)
            return True
    return False


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnDyad:
    """A dyad whose panels may run on beyond their joints, or start behind them."""

    cost: ClassVar[Cost] = Cost.LONGER

    dyad: Dyad
    reverse: tuple[bool, bool]

    def run(self, bench: Bench) -> None:
        """Lay both panels; turn round those that are met from their far end."""
        self.dyad.run(bench)
        for flip, (panel, _) in zip(self.reverse, (self.dyad.p, self.dyad.q), strict=True):
            if flip:
                bench.turns[panel] = bench.turns[panel] + np.pi


def _dyad(d: _Drafting, panels: tuple[str, str], hangs: tuple[str, str], meet: str, side: int) -> DrawnDyad:
    """Return the step for two panels, each met along or against its own order of joints."""
    parts, reverse = [], []
    for panel, hang in zip(panels, hangs, strict=True):
        order = [j for j, _ in d.along[panel]]
        back = order.index(hang) > order.index(meet)
        way = d.terms(panel, meet, hang) if back else d.terms(panel, hang, meet)
        parts.append((panel, way))
        reverse.append(back)
    return DrawnDyad(
        dyad=Dyad(at_p=hangs[0], at_q=hangs[1], p=parts[0], q=parts[1], meet=meet, side=side),
        reverse=(reverse[0], reverse[1]),
    )


def _follow(d: _Drafting, known: dict[str, str], open_panels: list[str]) -> Follow:
    """Return the step that lays all panels left over together."""
    turns = {p: float(turn_of(d.at(d.along[p][-1][0]) - d.at(d.along[p][0][0]))) for p in open_panels}
    step = Follow(
        panels={p: d.along[p] for p in open_panels},
        known=frozenset(known),
        drawn_turns=turns,
        drawn_joints=d.drawing.joints,
        drawn_phi=float(np.radians(d.opening_deg)),
        nominal=d.lengths,
        before=tuple(d.steps),
    )
    loose = step.looseness()
    if loose > 0:
        raise SpecError(
            f"[[panel]] {open_panels[0]!r}: the linkage is loose, {loose} freedom(s) too many; "
            "every panel must be held by its joints once the pages are"
        )
    return step


def mechanism_of_drawing(drawing: Drawing, opening_deg: float) -> Mechanism:
    """Return the mechanism of a drawn linkage.

    Raises
    ------
    SpecError : a panel is not straight, hangs in the air, or the whole has not one freedom.
    """
    lengths: dict[str, float] = {}
    ends: dict[str, tuple[str, str]] = {}
    along: dict[str, tuple[tuple[str, Terms], ...]] = {}
    for panel in drawing.panels:
        gaps = _measure(drawing, panel.name, panel.joints)
        names = gap_names(panel.name, panel.joints)
        for name, gap, a, b in zip(names, gaps, panel.joints, panel.joints[1:], strict=False):
            if name in lengths:
                raise SpecError(f"[[panel]] {panel.name!r}: the name {name!r} is used twice")
            lengths[name], ends[name] = gap, (a, b)
        along[panel.name] = tuple((j, dict.fromkeys(names[:i], 1.0)) for i, j in enumerate(panel.joints))
    d = _Drafting(drawing, opening_deg, lengths, along, [Pages()])
    known: dict[str, str] = {"spine": named(Kind.PAGE, "right")}
    for side in SIDES:
        _lay(d, known, named(Kind.PAGE, side), "spine")
    open_panels = [p.name for p in drawing.panels if p.name not in PAGES]
    for name in open_panels:
        if sum(j in known for j, _ in along[name]) > 1:
            raise SpecError(f"[[panel]] {name!r}: it joins two points of the pages, so nothing can move")
    while open_panels and _pair(d, known, open_panels):
        pass
    if open_panels:
        d.steps.append(_follow(d, known, open_panels))
    return Mechanism(
        lengths=lengths,
        ends=ends,
        panels=_panels(drawing),
        loops=(),
        pairs=(),
        halves=_halves(drawing),
        reaches=(),  # how far it reaches is found by moving it
        floors={},
        steps=tuple(d.steps),
    )


def _panels(drawing: Drawing) -> tuple[Panel, ...]:
    """Panels as an end-on photo shows them; the last joint of a page or plane is a cut edge."""
    hung: dict[str, int] = {}
    for p in drawing.panels:
        for j in p.joints:
            hung[j] = hung.get(j, 0) + 1
    return tuple(
        Panel(
            name=p.name,
            joints=p.joints,
            role=p.role,
            side=parsed(p.name).side,
            free_end=hung[p.joints[-1]] == 1,
        )
        for p in drawing.panels
    )


def _halves(drawing: Drawing) -> tuple[Half, ...]:
    """Panels that are to stay parallel to a page; every length may govern them."""
    governs = tuple(k for p in drawing.panels for k in gap_names(p.name, p.joints))
    return tuple(
        Half(
            name=half_of_panel(p.name),
            side=parsed(p.parallel_to).side,
            page=p.parallel_to,
            plane=p.name,
            governs=governs,
        )
        for p in drawing.panels
        if p.parallel_to
    )
