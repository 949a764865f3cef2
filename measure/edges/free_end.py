"""The cut edge of a panel: where its near end stops along its own line."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from capture.arrays import Array
from measure.edges.candidate_lines import crest_shift
from measure.edges.edge_evidence import EdgeEvidence, EndEvidence, Template
from measure.geometry import Curve


@dataclass(frozen=True, slots=True, kw_only=True)
class FreeEndNumbers:
    """Tuned numbers; found on path-traced photographs of known dummies, some planes cut too short."""

    reach_mm: float = 9.0
    """An end is looked for this far from where the design has it."""
    near_mm: float = 1.2
    """Hand-cut ends: standard deviation by which the nearer of several edges is preferred, ..."""
    far_cap: float = 16.0
    """... up to so many squared standard deviations."""
    least: float = 12.0
    """Less evidence (log-likelihood units) is no edge; a sharp step with less is none of the card's."""
    rival: float = 5.0
    """An edge whose evidence is behind by less may be the right one."""
    rival_apart_mm: float = 0.4
    """Rivals nearer than this are the same edge."""
    rival_share: float = 0.6
    """Standard uncertainty, as a share of the distance to the rival."""
    known_mm: float = 1.0
    """An edge this near to a place where another panel's edge crosses may be that edge."""
    near_cost: float = 15.0
    """What it costs a surprising end to lie where a leg's near end crosses (log-likelihood units) ..."""
    far_cost: float = 6.0
    """... or where its far end does."""
    err_mm: float = 0.15
    """Standard uncertainty of a clear end, ..."""
    faint_err_mm: float = 0.8
    """... of one where only the tone changes, ..."""
    known_err_mm: float = 1.0
    """... of one that may be another panel's edge (an end that is off by more is surprising), ..."""
    at_leg_err_mm: float = 0.3
    """... and of one that is designed to lie where a leg's edge crosses."""
    short_mm: float = 5.0
    """A plane may be cut too short by so much, hidden on the strip that goes on to its leg, ..."""
    hint: float = 10.0
    """... which shows as so much evidence for a step in the cut edge alone."""


TUNED = FreeEndNumbers()


@dataclass(frozen=True, slots=True, kw_only=True)
class Ending:
    """Where the panel ends: mm along the curve from its start, standard uncertainty, and evidence."""

    along_mm: float
    err_mm: float
    score: float


def find_ending(
    edges: EdgeEvidence,
    curve: Curve,
    expected_mm: float,
    template: Template,
    *,
    joint_mm: float = 0.0,
    near_ends_mm: Sequence[float] = (),
    far_ends_mm: Sequence[float] = (),
) -> Ending | None:
    """Find the place where the card gives way to what lies beyond its cut edge; None if it shows nowhere.

    Parameters
    ----------
    edges : how near ends are seen in this photo.
    curve : middle line of the near end, running outward.
    expected_mm : expected length from curve.a, an ending near it being preferred.
    template : the card, with its depth and the photo's blur at the end.
    joint_mm : where the last joint before the end lies (the leg's top).
    near_ends_mm, far_ends_mm : where near and far ends of other panels cross the curve: an end found there
        may be theirs.
    """
    seen = edges.ends(curve, expected_mm, reach_mm=TUNED.reach_mm, joint_mm=joint_mm, template=template)
    where, llr = seen.at_mm, seen.step
    # Of several clear edges the one nearest the expected place is taken.
    off = np.minimum(((where - expected_mm) / TUNED.near_mm) ** 2, TUNED.far_cap)
    score = llr + seen.tone - 0.5 * off
    surprising = np.abs(where - expected_mm) > TUNED.known_err_mm
    for others, cost in ((near_ends_mm, TUNED.near_cost), (far_ends_mm, TUNED.far_cost)):
        for other in others:
            score = score - cost * (surprising & (np.abs(where - other) < TUNED.known_mm))
    k = int(np.argmax(score))
    if llr[k] + 0.5 * max(float(seen.tone[k]), 0.0) < TUNED.least or k in (0, len(score) - 1):
        return None
    move = float(crest_shift(llr[k - 1], llr[k], llr[k + 1]))
    err = _rival_err(where, score, k)
    if llr[k] < TUNED.least:  # the tone changes, but nowhere sharply
        err = max(err, TUNED.faint_err_mm)
    if any(abs(where[k] - other) < TUNED.known_mm for other in (*near_ends_mm, *far_ends_mm)):
        err = max(err, TUNED.known_err_mm if surprising[k] else TUNED.at_leg_err_mm)
    if any(abs(where[k] - near) < TUNED.known_mm for near in near_ends_mm):
        err = max(err, _short_err(seen, k))
    return Ending(along_mm=float(where[k] + seen.step_mm * move), err_mm=err, score=float(llr[k]))


def _rival_err(where: Array, score: Array, k: int) -> float:
    """Return the standard uncertainty of an end: another edge nearly as clear might be the right one."""
    crest = (score[1:-1] >= score[:-2]) & (score[1:-1] >= score[2:])
    rivals = where[1:-1][crest & (score[1:-1] > score[k] - TUNED.rival)]
    doubt = float(np.max(np.abs(rivals - where[k]))) if len(rivals) else 0.0
    if doubt < TUNED.rival_apart_mm:
        return TUNED.err_mm
    return max(TUNED.err_mm, TUNED.rival_share * doubt)


def _short_err(seen: EndEvidence, k: int) -> float:
    """Return the uncertainty of a plane that may be cut short on a strip that goes on to the leg; else 0.

    Only its own cut edge stops there.
    """
    where = seen.at_mm
    inside = (where < where[k] - TUNED.known_mm) & (where > where[k] - TUNED.short_mm)
    if not inside.any() or seen.own[inside].max() <= TUNED.hint:
        return 0.0
    return TUNED.rival_share * float(where[k] - where[inside][np.argmax(seen.own[inside])])
