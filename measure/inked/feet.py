"""The feet of all strips together: which of the places found for each foot's tab is the right one.

The feet of a page, or of two pages that lie flat, stand on one line, nearly: each strip's near end stands a
little in front of or behind the others, which looks a tenth of a millimetre higher or lower. So of all lines
through two tabs the one with the most evidence for tabs near it is taken (consensus of random pairs, all
pairs tried; Fischler and Bolles 1981).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from capture.arrays import Array
from measure.geometry import Curve
from measure.inked.foot_tabs import TabPlace


@dataclass(frozen=True, slots=True, kw_only=True)
class FeetNumbers:
    """Numbers of the choice; found on path-traced photographs of inked dummies."""

    uneven_sd_mm: float = 0.15
    """How far feet seem off one line because near ends are not flush."""
    weight: float = 15.0
    """Log-likelihood units per squared standard deviation, and ..."""
    cap: float = 6.0
    """... up to so many half squared standard deviations."""
    off_mm: float = 0.45
    """A tab farther off the line belongs to another."""
    slope: float = 0.035
    """Slope of the line against the page's direction where that is known, ..."""
    free_slope: float = 0.2
    """... and against where the layout was laid: it may be turned, and opened, a little otherwise."""
    apart_mm: float = 8.0
    """Two feet nearer to each other make no direction."""
    marked_off_mm: float = 0.1
    """Where marks tell the page: a tab seems so much above it, for the sheet stands before it ..."""
    marked_above_mm: float = 0.25
    """... by up to 1.5 mm, and the tab may seem higher by that (standard deviation) ..."""
    marked_below_mm: float = 0.13
    """... but hardly lower: what is lower lies on the sheet's own foot, such as its print."""
    marked_weight: float = 20.0
    marked_cap: float = 12.0
    least_strip: float = -5.0
    """Nor one at which its strip is seen to end elsewhere."""
    clearly_less: float = 0.5
    """A tab by itself is believed if no other place has more than this share of its evidence."""
    least: float = 15.0
    """A place with less evidence is none."""


TUNED = FeetNumbers()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PageFrame:
    """Direction along a page, outward, and up from it (unit vectors), and its line if marks tell it."""

    along: Array
    up: Array
    marked: Curve | None = None


def choose_tabs(
    places: Mapping[str, Sequence[TabPlace]],
    frames: Mapping[str, PageFrame],
    groups: Sequence[Sequence[str]],
    *,
    loose: bool = False,
) -> dict[str, TabPlace]:
    """Return foot -> the place of its tab; feet whose tab is not seen, or off all others' line, are left out.

    Parameters
    ----------
    places : foot -> where its tab may be. frames : foot -> frame of its page.
    groups : feet that stand on one line: of a page, or of two that lie flat.
    loose : whether the frames' directions are only where the layout was laid.
    """
    out: dict[str, TabPlace] = {}
    for group in groups:
        scored = {
            foot: [(p, s) for p in places.get(foot, ()) if (s := _score(p, frames[foot])) > TUNED.least]
            for foot in group
        }
        seen = [(foot, p, s) for foot, many in scored.items() for p, s in many]
        if not seen:
            continue
        frame = frames[group[0]]
        best, best_score = _alone(seen, marked=frame.marked is not None)
        for one, other in combinations(seen, 2):
            if one[0] == other[0]:
                continue
            step = other[1].at - one[1].at
            run = float(step @ frame.along)
            steepest = TUNED.free_slope if loose and frame.marked is None else TUNED.slope
            if abs(run) < TUNED.apart_mm or abs(float(step @ frame.up) / run) > steepest:
                continue
            picked, score = _near_line(scored, one[1].at, float(step @ frame.up) / run, frame)
            if score > best_score:
                best, best_score = picked, score
        out |= best
    return out


def _score(place: TabPlace, frame: PageFrame) -> float:
    if place.strip < TUNED.least_strip:
        return 0.0
    if frame.marked is None:
        return place.score
    off = float((place.at - frame.marked.a) @ frame.up) - TUNED.marked_off_mm
    off /= TUNED.marked_above_mm if off > 0 else TUNED.marked_below_mm
    return place.score - TUNED.marked_weight * min(0.5 * off**2, TUNED.marked_cap)


def _alone(seen: list[tuple[str, TabPlace, float]], *, marked: bool) -> tuple[dict[str, TabPlace], float]:
    """One tab by itself: to be believed where marks tell the page, or where there is clearly no other."""
    foot, place, score = max(seen, key=lambda item: item[2])
    others = [s for f, p, s in seen if f != foot or abs(p.level_mm - place.level_mm) > TUNED.off_mm]
    if not marked and max(others, default=0.0) > TUNED.clearly_less * score:
        return {}, -np.inf
    return {foot: place}, score


def _near_line(
    scored: Mapping[str, list[tuple[TabPlace, float]]], start: Array, slope: float, frame: PageFrame
) -> tuple[dict[str, TabPlace], float]:
    """Return the best place of every foot near a line, and their scores together."""
    picked: dict[str, TabPlace] = {}
    total = 0.0
    for foot, many in scored.items():
        best = 0.0
        for place, score in many:
            step = place.at - start
            off = float(step @ frame.up) - slope * float(step @ frame.along)
            value = score - TUNED.weight * min(0.5 * (off / TUNED.uneven_sd_mm) ** 2, TUNED.cap)
            if abs(off) < TUNED.off_mm and value > best:
                best, picked[foot] = value, place
        total += best
    return picked, total


def turned_along(
    picked: Mapping[str, TabPlace], frames: Mapping[str, PageFrame], groups: Sequence[Sequence[str]]
) -> dict[str, PageFrame]:
    """Return foot -> its frame, turned to run along the tabs picked; unchanged where they do not tell."""
    out = dict(frames)
    for group in groups:
        seen = [foot for foot in group if foot in picked]
        if len(seen) < 2 or frames[group[0]].marked is not None:
            continue
        at = np.array([picked[foot].at for foot in seen])
        x = (at - at.mean(axis=0)) @ frames[group[0]].along
        if float(np.ptp(x)) < TUNED.apart_mm:
            continue
        step = x @ (at - at.mean(axis=0))
        step /= np.hypot(*step)
        for foot in group:
            frame = frames[foot]
            along = step * np.sign(float(step @ frame.along))
            up = np.array([-along[1], along[0]])
            out[foot] = PageFrame(along=along, up=up * np.sign(float(up @ frame.up)))
    return out
