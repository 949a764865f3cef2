"""Inked near ends, found: every standing panel's dark line, and all of them together the dummy's shape.

An inked near end is so unlike anything else that its line is nearly always the first of the candidates; the
choice among them is made for all panels together all the same (`measure.guided.choose_lines`). The pages take
no part: their own inked edges lie in front of the measured plane.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from measure.edges.candidate_lines import best_lines, line_scores
from measure.edges.dark_line import DarkLine
from measure.edges.stations import stations_for
from measure.geometry import Curve
from measure.guided.choose_lines import Choice, PanelLines, choose
from measure.guided.first_choice import ORDER, balanced
from measure.guided.panel_doubt import up_side
from measure.guided.placement import Placement
from measure.inked.ink_fit import line_score, look
from measure.layout import Panel, Role
from measure.scene import Scene


@dataclass(frozen=True, slots=True, kw_only=True)
class FindNumbers:
    """Numbers of the search; found on path-traced photographs, inked and not inked."""

    reach_mm: float = 7.0
    """A faulty dummy's lines lie that near to their nominal places."""
    step_mm: float = 0.1
    every_mm: float = 1.0
    cap: float = 30.0
    n_candidates: int = 10
    apart_mm: float = 0.5
    lighter: float = 0.06
    """Grey value, full scale = 1: where both sides of a line are lighter, ink must show as a dip."""
    dip: float = 4.0
    """Evidence for a dip that is seen."""
    tell_reach_mm: float = 0.35
    inked_places: int = 8
    """Ink shows at so many of all such places, ..."""
    clear_share: float = 0.3
    """... as a dip at that share of two strips' places ..."""
    clear_total: float = 0.2
    """... and at this share of all, ..."""
    some: int = 2
    """... or at so many places ..."""
    some_strips: int = 3
    """... of each of so many strips ..."""
    some_total: float = 0.09
    """... and at this share of all: 0.09 to 0.9 in photographs of inked dummies; in others 0.00 to 0.17,
    where a line lies in the dark beyond a face, but hardly ever along two strips."""


TUNED = FindNumbers()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class RoughLine:
    """Where a standing panel's inked line runs, roughly.

    Attributes
    ----------
    panel : the panel.
    curve : from its first to its last joint.
    up : +1 if up is to the left of it, else -1.
    score : evidence per station.
    n_light, n_dips : places at which both sides are light, and those of them that show a dip between.
    """

    panel: Panel
    curve: Curve
    up: float
    score: float
    n_light: int
    n_dips: int


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class InkFound:
    """The rough lines of all standing panels, and where the layout was when they were found."""

    lines: Mapping[str, RoughLine]
    placement: Placement
    choice: Choice

    @property
    def inked(self) -> bool:
        """Whether what was found is ink: dark between lighter sides, where the sides are light."""
        lines = self.lines.values()
        n_light, n_dips = sum(line.n_light for line in lines), sum(line.n_dips for line in lines)
        some = [line for line in lines if line.n_dips >= TUNED.some]
        clear = [line for line in some if line.n_dips >= TUNED.clear_share * line.n_light]
        return n_dips >= TUNED.inked_places and (
            (len(clear) > 1 and n_dips >= TUNED.clear_total * n_light)
            or (len(some) >= TUNED.some_strips and n_dips >= TUNED.some_total * n_light)
        )


def find_ink(scene: Scene, placements: Sequence[Placement], line: DarkLine) -> InkFound | None:
    """Return the best choice of dark lines at any of the placements; None if there is nothing to choose."""
    best: InkFound | None = None
    for placement in placements:
        items = [item for item in _candidates(scene, placement, line) if item.candidates]
        choice = choose(placement.layout, items)
        if choice is not None and (best is None or balanced(choice) > balanced(best.choice)):
            lines = {item.panel.name: _rough(scene, item, choice, line) for item in items}
            best = InkFound(lines=lines, placement=placement, choice=choice)
    return best


def _candidates(scene: Scene, placement: Placement, line: DarkLine) -> list[PanelLines]:
    layout = placement.layout
    out: list[PanelLines] = []
    for panel in sorted(layout.panels, key=lambda p: ORDER[p.role]):
        if panel.role is Role.PAGE:
            continue
        ends = placement.apply(np.stack([layout.at(panel.joints[0]), layout.at(panel.joints[-1])]))
        base = Curve(a=ends[0], b=ends[1])
        stations = stations_for(base, 1.5, 1.5, TUNED.every_mm)
        seen = look(scene.plane, base, stations, line, TUNED.reach_mm + 0.2, TUNED.step_mm)
        sums = line_scores(
            line_score(seen, TUNED.cap), seen.offsets_mm, stations, TUNED.reach_mm, TUNED.reach_mm
        )
        out.append(
            PanelLines(
                panel=panel,
                base=base,
                candidates=best_lines(sums, TUNED.reach_mm, TUNED.n_candidates, TUNED.apart_mm),
                up=up_side(layout, panel, placement, base),
            )
        )
    return out


def _rough(scene: Scene, item: PanelLines, choice: Choice, line: DarkLine) -> RoughLine:
    c = item.candidates[choice.index[item.panel.name]]
    curve = replace(item.base, d0=c.d0_mm, d1=c.d1_mm).straightened()
    stations = stations_for(curve, 2.0, 2.0, TUNED.every_mm)
    n_light, n_dips = 0, 0
    if item.panel.role is not Role.PLANE:  # under a plane there is another layer, or a leg's face
        seen = look(scene.plane, curve, stations, line, TUNED.tell_reach_mm, 0.05)
        rows, k = np.arange(len(stations)), np.argmax(seen.dip, axis=1)
        light = np.minimum(seen.left, seen.right)[rows, k] > TUNED.lighter
        n_light = int(np.count_nonzero(light))
        n_dips = int(np.count_nonzero(light & (seen.dip[rows, k] > TUNED.dip)))
    return RoughLine(
        panel=item.panel,
        curve=curve,
        up=item.up,
        score=c.score / len(stations),
        n_light=n_light,
        n_dips=n_dips,
    )
