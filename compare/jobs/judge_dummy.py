"""`foldgauge check` without a spec: one photo of a dummy, judged by the rules of the craft alone."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from capture.photo import PhotoSource
from capture.setup import Setup
from compare.design.spec.common_tables import (
    DEFAULT_CLEARANCE,
    DEFAULT_LENGTH_TOLERANCE,
    DEFAULT_LEVEL,
)
from compare.design.spec.parts import Tolerance
from compare.jobs.measure_dummy import Tracing, measure
from compare.verdict.conformity import Rule
from compare.without_spec.craft_findings import CraftFindings, judge_by_craft
from compare.without_spec.craft_rules import As
from compare.without_spec.traced_lengths import traced_lengths
from measure.joints.by_hand import HandPoint
from measure.layout import Card

USUAL_TOLERANCE: Final = Tolerance(
    length=DEFAULT_LENGTH_TOLERANCE,
    matched=DEFAULT_LENGTH_TOLERANCE,
    level_deg=DEFAULT_LEVEL,
    clearance=DEFAULT_CLEARANCE,
)
NO_SETUP: Final = Setup()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Judgement:
    """A dummy judged without a spec.

    Attributes
    ----------
    tracing : what was traced and measured.
    findings : what the rules of the craft say of it.
    told_as : whether the user said what it is.
    tolerance : the limits asked.
    """

    tracing: Tracing
    findings: CraftFindings
    told_as: bool
    tolerance: Tolerance


def judge(
    source: PhotoSource,
    setup: Setup = NO_SETUP,
    *,
    taken_for: As | None = None,
    rule: Rule | Literal["guarded", "simple"] = Rule.GUARDED,
    points: Sequence[HandPoint] = (),
    card: Card | None = None,
    tolerance: Tolerance = USUAL_TOLERANCE,
) -> Judgement:
    """Judge the dummy in a photo by the rules of the craft.

    Parameters
    ----------
    source, setup, points, card : see `compare.jobs.measure_dummy.measure`.
    taken_for : what it is, if the user says so; None = a parallel fold, as it was traced.
    rule : "guarded" (only what is sure by U passes or fails) or "simple" (the measured value alone decides).

    Raises
    ------
    FoldgaugeError : one line on what is wrong with the photo or the set-up, or that no parallel fold with a
        plane and a leg could be made out.
    """
    tracing = measure(source, setup, points=points, card=card, numbers=False)
    findings = judge_by_craft(
        tracing.traced,
        traced_lengths(tracing.untold),
        taken_for=taken_for or As.PARALLEL_FOLD,
        tolerance=tolerance,
        rule=Rule(rule),
    )
    return Judgement(tracing=tracing, findings=findings, told_as=taken_for is not None, tolerance=tolerance)
