"""A dummy judged by the rules of the craft: the right pair is named, good ones are not accused."""

import math
from dataclasses import replace

import numpy as np
import pytest

from compare.jobs.judge_dummy import USUAL_TOLERANCE
from compare.tell.words.craft_words import craft_answer, repair_lines
from compare.verdict.conformity import Verdict
from compare.without_spec.craft_findings import CraftFindings, judge_by_craft
from compare.without_spec.craft_repairs import MendKind
from compare.without_spec.craft_rules import As
from compare.without_spec.traced_lengths import traced_lengths
from measure.layout import Card
from measure.tracing.measure_untold import Untold
from measure.tracing.trace_dummy import traced_of
from tests.helpers.drawn_dummy import at_opening
from tests.helpers.made_traces import traced_profile, traced_shape

AT = {k: np.array(v) for k, v in at_opening(180.0).items()}
UP = (AT["ridge"] - AT["inner foot right"]) / 40.0


def findings_of(
    missing: tuple[str, ...] = (),
    taken_for: As = As.PARALLEL_FOLD,
    u_mm: float = 0.05,
    spine_u_mm: float | None = None,
    spine_seen: bool = False,
    upper: bool = False,
    **moved: tuple[float, float],
) -> CraftFindings:
    """Judge the drawn dummy with some joints moved."""
    traced = replace(traced_of(traced_shape(spine_seen=spine_seen), Card()), upper=upper)
    profile = traced_profile(traced, missing, u_mm=u_mm, **moved)
    if spine_u_mm is not None:
        cov = profile.cov_mm2.copy()
        k = 2 * profile.joints.index("spine")
        cov[k, k] = spine_u_mm**2
        profile = replace(profile, cov_mm2=cov, cov_by_source={"edge fits": cov})
    gone = {p for p in missing}
    untold = Untold(traced=traced.without(gone, ()), profile=profile, notes=())
    return judge_by_craft(
        untold.traced, traced_lengths(untold), taken_for=taken_for, tolerance=USUAL_TOLERANCE
    )


def test_a_good_dummy_is_good() -> None:
    found = findings_of(spine_seen=True)
    assert found.verdict is Verdict.CONFORMS and found.alike and found.unseen == ()
    assert len(found.pairs) == 4 and len(found.sums) == 3 and len(found.leans) == 2
    assert all(p.mends == () and p.odd == "" for p in found.pairs)
    assert craft_answer(found).startswith("Good by the rules of the craft")


def test_a_spine_marked_roughly_keeps_no_dummy_from_being_good() -> None:
    rough = findings_of(spine_seen=True, u_mm=0.08, spine_u_mm=0.5)
    assert rough.verdict is Verdict.CONFORMS and rough.unseen == ("foot + fold, left = right",)
    off = findings_of(spine_seen=True, u_mm=0.08, spine_u_mm=0.5, spine=(2.5, 0.0))
    assert off.verdict is Verdict.FAILS  # far off all the same is told
    assert craft_answer(off).startswith("It does not shut flat: foot + fold, left = right is off by 5.0 mm")


def short_leg(by: float) -> dict[str, tuple[float, float]]:
    """The right leg shorter: its top sinks, turning about the ridge, and the plane with it."""
    lean = -by / (48.0 * math.sqrt(1 - (12 / 40) ** 2))  # GEOMETRY: tau = b / (A sin psi) at 180 degrees
    top = (0.0, 48.0 * math.sin(lean))
    return {"leg_top_right": top, "plane_edge_right": (0.0, 70.0 * math.sin(lean))}


def test_a_short_leg_is_named_with_both_ways_to_mend_it() -> None:
    found = findings_of(**short_leg(2.0))
    assert found.verdict is Verdict.FAILS
    (pair,) = [p for p in found.pairs if p.mends]
    assert pair.item.name == "leg = fold right"
    assert pair.item.measured == pytest.approx(-2.0, abs=0.1)
    assert pair.odd == "leg right" and set(pair.agreeing) == {"fold right", "leg left", "fold left"}
    new_leg, lower = pair.mends
    assert (new_leg.kind, lower.kind) == (MendKind.NEW_LEG, MendKind.FOLD_SHORTER)
    assert new_leg.to_mm == pytest.approx(40.0, abs=0.05) and new_leg.cuts
    assert new_leg.lean_deg == pytest.approx(0.0, abs=0.1)
    (lean,) = [n for n in found.leans if n.side == "right"]
    assert lean.item.measured == pytest.approx(math.degrees(-2.0 / 48.0 / math.sqrt(1 - 0.09)), abs=0.1)
    assert lean.made["leg = fold right"] == pytest.approx(lean.item.measured, abs=0.1)
    assert craft_answer(found) == (
        "The right half leans 2.5 degrees: leg right is 2.0 mm (±0.2) shorter than its side of the fold."
    )
    (line,) = repair_lines(found)
    assert "make leg right anew, 2.0 mm longer" in line and "leg right is the odd one" in line


def test_a_foot_glued_too_far_out_is_a_spacing_and_needs_no_knife() -> None:
    out = 2.0
    found = findings_of(outer_foot_right=(out, 0.0))
    (pair,) = [p for p in found.pairs if p.item.name == "plane spacing = page spacing right"]
    assert pair.item.measured == pytest.approx(-out, abs=0.01)
    assert pair.odd == "page spacing right"
    first, second = pair.mends
    assert (first.kind, second.kind) == (MendKind.FOOT_IN, MendKind.TOP_OUT)
    assert first.to_mm == pytest.approx(48.0, abs=0.01) and not first.cuts and not second.cuts


def test_both_sides_alike_wrong_leave_the_odd_one_open() -> None:
    low = short_leg(2.0)
    both = {**low, **{k.replace("right", "left"): v for k, v in low.items()}}
    found = findings_of(**both)
    failing = [p for p in found.pairs if p.mends]
    assert [p.item.name for p in failing] == ["leg = fold left", "leg = fold right"]
    assert all(p.odd == "" for p in failing)


def test_what_is_not_sure_accuses_nobody() -> None:
    found = findings_of(u_mm=0.8, **short_leg(1.0))
    assert found.verdict is Verdict.OPEN and not found.cuts
    assert craft_answer(found).startswith("Too close to call: ")


def test_a_half_that_was_not_made_out_is_in_part() -> None:
    found = findings_of(missing=("leg left", "plane left"))
    assert found.verdict is Verdict.OPEN
    assert craft_answer(found).startswith("In part: ") and "left half" in craft_answer(found)


def test_an_upper_stage_that_is_not_traced_is_not_called_good() -> None:
    found = findings_of(spine_seen=True, upper=True)
    assert found.verdict is Verdict.OPEN
    assert craft_answer(found) == "In part: what was made out agrees; not made out: upper stages."


def test_what_hand_work_never_gets_wrong_accuses_nobody() -> None:
    # The outer leg of a flap taken for one: 8 mm beside its place.
    found = findings_of(outer_foot_right=(8.0, 0.0))
    assert found.verdict is Verdict.OPEN and not found.cuts
    assert "plane spacing = page spacing right" in {i.name for i in found.strange}
    assert all(p.item.name.endswith("left") for p in found.pairs) and [n.side for n in found.leans] == [
        "left"
    ]
    assert craft_answer(found).startswith("Not judged in full: ")


def test_two_faults_that_add_up_in_one_loop_are_more_likely_no_leg() -> None:
    strap = {"leg_top_right": (2.8, -1.6), "plane_edge_right": (0.0, -2.3)}
    found = findings_of(**strap)
    assert {i.name for i in found.strange} == {"closing sum right"} and found.verdict is Verdict.OPEN
    assert craft_answer(found).startswith("Not judged in full: closing sum right is off by 5.1 mm, more than")
    # The same two faults against each other leave the loop nearly closed: a dummy of two faults.
    found = findings_of(leg_top_right=(2.0, 2.6), plane_edge_right=(0.0, 3.7))
    assert found.strange == () and found.verdict is Verdict.FAILS


def test_an_oblique_plane_only_has_to_shut() -> None:
    # Leg and plane spacing longer alike: the sums close, the plane is oblique.
    moved = {"leg_top_right": (1.8, 2.0), "plane_edge_right": (0.0, 2.9)}
    parallel = findings_of(**moved)
    assert parallel.verdict is Verdict.FAILS
    oblique = findings_of(taken_for=As.OBLIQUE, **moved)
    assert oblique.verdict is Verdict.CONFORMS and oblique.pairs == () and oblique.leans == ()
    crooked = findings_of(taken_for=As.OBLIQUE, **short_leg(3.0))
    assert crooked.verdict is Verdict.FAILS
    assert craft_answer(crooked).startswith("It does not shut flat: ")
