"""The first choice of lines for all panels together: at every place, under every tone cut edges may have."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from capture.arrays import Array
from measure.edges.candidate_lines import Candidate
from measure.geometry import Curve, crossing
from measure.guided.choose_lines import Choice, PanelLines, choose
from measure.guided.panel_surroundings import Look, candidates_of, look_at, rough_tone
from measure.guided.placement import Placement
from measure.layout import Layout, Role
from measure.page_marks import PageMarks, marked_line
from measure.region import Region
from measure.scene import Scene


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstChoiceNumbers:
    """Tuned numbers, found on path-traced photographs of known dummies."""

    convincing_off: int = 0
    """With no more lengths far off, and every panel seen, no other place can do better."""
    outstanding: float = 1.25
    """A panel counts up to so many times the middle panel's evidence."""
    other_tone: float = 0.35
    """Natural logarithm: white card's tone is tried, too, where it differs by more from the tone seen."""
    crossing_sine: float = 0.2
    """Lines that make less (sine) with each other do not cut each other to length."""
    clip_places: int = 401
    """Places along a page at which it is asked whether it lies in the region, ..."""
    least_clip: int = 10
    """... of which more than this must."""


TUNED = FirstChoiceNumbers()

ORDER = {Role.PAGE: 0, Role.FOLD: 1, Role.PLANE: 2, Role.LEG: 3}
"""In which panels are decided."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class FirstChoice:
    """Candidates of all panels seen, the choice among them, the tone along it, and the layout as placed."""

    items: list[PanelLines]
    choice: Choice
    tone: float | None
    layout: Layout


def choose_first(scene: Scene, placements: Sequence[Placement]) -> FirstChoice | None:
    """Return the choice at the placement that explains the photo best; None if there is none at any."""
    best: FirstChoice | None = None
    for placement in placements:
        there = scene.with_layout(placement.layout)
        panels = sorted(scene.layout.panels, key=lambda p: ORDER[p.role])
        views = [look_at(there, p, placement) for p in panels]
        # A first choice tells how bright the card's cut edges are; with that, the choice is made again.
        first = _chosen(there, views)
        tones = _tones_to_try(there, first.tone if first is not None else None)
        for chosen in (_chosen(there.with_tone(tone), views) for tone in tones):
            if chosen is not None and (best is None or balanced(chosen.choice) > balanced(best.choice)):
                best = chosen
        if best is not None and len(best.items) == len(panels):
            if best.choice.n_off <= TUNED.convincing_off:
                break  # every panel where it should be: no other place can do better
    return best


def balanced(choice: Choice) -> float:
    """Score of a choice in which no panel counts much more than the middle one.

    One fold farther to the side long pages and planes still lie on each other; that two strips are then
    hardly seen must weigh more.
    """
    parts = np.array(list(choice.per_panel.values()))
    return choice.score - float(np.sum(np.maximum(parts - TUNED.outstanding * np.median(parts), 0.0)))


def _chosen(scene: Scene, views: list[Look]) -> FirstChoice | None:
    """Return the choice under the scene's tone of cut edges."""
    items = [item for item in (candidates_of(scene, view) for view in views) if item.candidates]
    if scene.marks is not None:
        items = [_as_marked(item, scene.marks, scene.layout) for item in items]
    choice = choose(scene.layout, items)
    if choice is None:
        return None
    tone = rough_tone(views, items, choice)
    return FirstChoice(items=items, choice=choice, tone=tone, layout=scene.layout)


def _as_marked(item: PanelLines, marks: PageMarks, layout: Layout) -> PanelLines:
    """Return a page with the line that the marks give as its only candidate; other panels as they are."""
    line = marked_line(marks, layout, item.panel.name) if item.panel.role is Role.PAGE else None
    if line is None:
        return item
    along = np.array([(p - item.base.a) @ item.base.tangent for p in (line.a, line.b)]) / item.base.length
    across = np.array([(p - item.base.a) @ item.base.normal for p in (line.a, line.b)]) - item.hinge_mm
    slope = float((across[1] - across[0]) / (along[1] - along[0]))
    d0 = float(across[0] - slope * along[0])
    return replace(item, candidates=[Candidate(d0_mm=d0, d1_mm=d0 + slope, score=1.0)])


def _tones_to_try(scene: Scene, seen: float | None) -> list[float | None]:
    """Tones cut edges may have: as seen along the lines chosen first, and that of white card."""
    tones: list[float | None] = [seen]
    if scene.white is not None:
        white = scene.edges.usual_tone(scene.white)
        if seen is None or abs(np.log(seen / white)) > TUNED.other_tone:
            tones.append(white)
    return tones


def rough_curves(first: FirstChoice, region: Region) -> dict[str, Curve]:
    """Chosen lines, cut to the stretch between the joints where they meet their neighbours."""
    lines = {}
    for item in first.items:
        c = item.candidates[first.choice.index[item.panel.name]]
        lines[item.panel.name] = (item, replace(item.base, d0=c.d0_mm, d1=c.d1_mm).straightened())
    out: dict[str, Curve] = {}
    for name, (item, curve) in lines.items():
        ends = [curve.a, curve.b]
        for k, joint in ((0, item.panel.joints[0]), (1, item.panel.joints[-1])):
            crossings = [
                crossing(curve, other)
                for other_name, (other_item, other) in lines.items()
                if other_name != name
                and joint in other_item.panel.joints
                and abs(float(curve.tangent @ other.normal)) > TUNED.crossing_sine
            ]
            if crossings:
                ends[k] = np.mean(crossings, axis=0)
        if item.panel.role is Role.PAGE:
            ends = _clip(ends[0], ends[1], region)
        out[name] = Curve(a=ends[0], b=ends[1])
    return out


def _clip(a: Array, b: Array, region: Region) -> list[Array]:
    """Cut a-b to what lies inside the region's left and right."""
    s = np.linspace(0, 1, TUNED.clip_places)
    xy = a + s[:, None] * (b - a)
    keep = np.flatnonzero((xy[:, 0] > region.left) & (xy[:, 0] < region.right))
    return [xy[keep[0]], xy[keep[-1]]] if len(keep) > TUNED.least_clip else [a, b]
