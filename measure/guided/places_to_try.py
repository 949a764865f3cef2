"""Where in a photo a layout may lie: where marks or known joints put it, and where the photo's edges do."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from capture.arrays import Array
from measure.guided.placement import Placement, place_by_joints, place_layouts
from measure.page_marks import seeds_of
from measure.scene import Scene


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacesNumbers:
    """Tuned numbers, found on path-traced photographs of known dummies, some in clutter."""

    most: int = 3
    """Places looked at closely: registering by one best shift lost the dummy in clutter."""
    worth_trying: float = 0.88
    """Share of the best coarse score from which on a place is worth it."""
    apart_mm: float = 6.0
    """Places nearer to each other, at the same opening, are one."""
    rolls_deg: tuple[float, ...] = (-2.0, 0.0, 2.0)
    """A photo is rolled by about so much."""
    propped_deg: float = 3.0
    """Half of what is missing to flat, from which on it matters which page is raised."""


TUNED = PlacesNumbers()


def places_to_try(scene: Scene, seeds: Mapping[str, Array], *, only_there: bool = False) -> list[Placement]:
    """Where the layout may lie: where marks or known joints put it, and where the photo's edges do.

    `seeds` are places (2,) of joints, sheet mm, known beforehand; where two of them lay the layout is
    tried too, but has to explain the photo better than the other places, unless it is to be `only_there`.
    """
    layout, marks = scene.layout, scene.marks
    by_joints = place_by_joints(layout.openings(), seeds)[: TUNED.most]
    if only_there and by_joints:
        return by_joints
    if marks is not None:
        marked = place_by_joints(layout.openings(), {**seeds_of(marks, layout), **seeds})[: TUNED.most]
        if marks.has_tick:
            return marked
        by_joints = [*by_joints, *marked]
    placements = [
        p
        for opened in layout.openings()
        for p in place_layouts(scene.plane, [opened], scene.region, _rolls_rad(opened.opening_deg))
    ]
    return [*by_joints, *_distinct(sorted(placements, key=lambda p: -p.score))]


def _rolls_rad(opening_deg: float) -> tuple[float, ...]:
    """How a spread may be turned in the picture: nearly level, or with one page flat and the other raised."""
    lean = (180.0 - opening_deg) / 2
    about = (0.0,) if lean < TUNED.propped_deg else (0.0, -lean, lean)
    return tuple(np.deg2rad([turn + roll for turn in about for roll in TUNED.rolls_deg]))


def _distinct(placements: list[Placement]) -> list[Placement]:
    """Placements worth a closer look: good ones, each somewhere else than the better ones."""
    out: list[Placement] = []
    for p in placements:
        near = any(
            np.hypot(p.x_mm - q.x_mm, p.y_mm - q.y_mm) < TUNED.apart_mm
            and p.layout.opening_deg == q.layout.opening_deg
            for q in out
        )
        if not near and p.score >= TUNED.worth_trying * placements[0].score:
            out.append(p)
    return out[: TUNED.most]
