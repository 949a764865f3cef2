"""What a trace may tell: halves that are confirmed, loops that shut, joints two looks agree on."""

from dataclasses import replace

import numpy as np
import pytest

from measure.layout import Card
from measure.reasons import Note, Noted
from measure.tracing.confirm_traced import TUNED, agreed, fold_gap_mm, page_slant_deg, sound_part
from measure.tracing.trace_dummy import Traced, traced_of
from tests.helpers.made_traces import traced_profile, traced_shape

EYE = np.array([45.0, 130.0, 700.0])


def names_of(traced: Traced) -> set[str]:
    return {p.name for p in traced.layout.panels}


def test_all_confirmed_all_told() -> None:
    traced = traced_of(traced_shape(), Card())
    sound, notes = sound_part(traced, traced_profile(traced), EYE)
    assert names_of(sound) == names_of(traced) and notes == []


@pytest.mark.parametrize("missing", ["plane left", "leg left"])
def test_a_half_without_its_plane_or_its_leg_is_left_out_whole(missing: str) -> None:
    traced = traced_of(traced_shape(), Card())
    sound, (note,) = sound_part(traced, traced_profile(traced, (missing,)), EYE)
    assert names_of(traced) - names_of(sound) == {"plane left", "leg left"}
    assert note.names == ("left",)
    assert note.kind is (Noted.HALF_UNCLEAR if missing == "plane left" else Noted.HALF_WITHOUT_LEG)
    assert not any(
        j.endswith("left") and j.split()[0] in ("outer", "leg", "plane") for j in sound.layout.joint_names
    )
    assert "ridge" in sound.layout.joint_names and "leg right" in sound.lengths


def test_a_loop_that_could_not_shut_is_no_loop_of_card() -> None:
    traced = traced_of(traced_shape(), Card())
    fair = traced_profile(traced, outer_foot_right=(4.0, 0.0))
    assert names_of(sound_part(traced, fair, EYE)[0]) == names_of(traced)
    wide = traced_profile(traced, outer_foot_right=(16.0, 0.0))
    sound, _ = sound_part(traced, wide, EYE)
    assert "leg right" not in names_of(sound) and "leg left" in names_of(sound)


def test_a_leg_that_aims_at_the_eye_must_shut_better() -> None:
    traced = traced_of(traced_shape(), Card())
    seen = traced_profile(traced, outer_foot_right=(5.0, 0.0))
    leg = seen.panel("leg right").line_mm
    way = (leg[-1] - leg[0]) / np.hypot(*(leg[-1] - leg[0]))
    eye = np.array([*(leg[0] + 220 * way), 700.0])
    assert "leg right" in names_of(sound_part(traced, seen, EYE)[0])
    assert "leg right" not in names_of(sound_part(traced, seen, eye)[0])


def test_a_plane_that_misses_the_ridge_is_something_else() -> None:
    traced = traced_of(traced_shape(), Card())
    seen = traced_profile(traced)
    panels = tuple(
        replace(p, line_mm=p.line_mm + (0.0, 1.2)) if p.name == "plane right" else p for p in seen.panels
    )
    sound, _ = sound_part(traced, replace(seen, panels=panels), EYE)
    assert "plane right" not in names_of(sound)


def test_what_two_looks_do_not_agree_on_is_not_told() -> None:
    traced = traced_of(traced_shape(), Card())
    first, second = traced_profile(traced), traced_profile(traced, leg_top_left=(1.6, 0.0))
    out, notes = agreed(traced, first, second)
    assert "leg top left" not in out.joints and "leg top left" in out.undetermined
    assert notes == [Note(kind=Noted.JOINT_LOOKS_DIFFER, names=("leg top left",))]
    assert out.cov_mm2.shape == (2 * len(out.joints), 2 * len(out.joints))


def test_a_plane_edge_without_an_edge_running_back_is_not_told() -> None:
    traced = traced_of(traced_shape(corner=False), Card())
    out, _ = agreed(traced, traced_profile(traced), traced_profile(traced))
    assert not any(j.startswith("plane edge") for j in out.joints)
    traced = traced_of(traced_shape(), Card())
    out, _ = agreed(traced, traced_profile(traced), traced_profile(traced, plane_edge_left=(3.5, 0.0)))
    assert "plane edge right" in out.joints and "plane edge left" not in out.joints


def test_what_was_left_out_is_not_in_the_profile() -> None:
    traced = traced_of(traced_shape(), Card())
    seen = traced_profile(traced)
    out, _ = agreed(traced.without({"leg left", "plane left"}, ()), seen, seen)
    assert not {"outer foot left", "leg top left", "plane edge left"} & set(out.joints)
    assert not {"leg left", "plane left"} & {p.name for p in out.panels}


def test_a_leg_top_off_the_plane_is_not_told() -> None:
    traced = traced_of(traced_shape(), Card())
    seen = traced_profile(traced, leg_top_right=(0.0, 3.0))
    out, (note,) = agreed(traced, seen, seen)
    assert "leg top right" not in out.joints and "leg top left" in out.joints
    assert note == Note(kind=Noted.JOINT_OFF_PLANE, names=("leg top right",))


def test_a_side_of_the_fold_that_nothing_confirms_must_be_seen_nearly_whole() -> None:
    traced = traced_of(traced_shape(), Card()).without({"leg left", "plane left"}, ())
    seen = traced_profile(traced)
    panels = tuple(
        replace(p, n_used=18, n_stations=32) if p.name.startswith("fold") else p for p in seen.panels
    )
    seen = replace(seen, panels=panels)
    out, _ = agreed(traced, seen, seen)
    assert "inner foot left" not in out.joints and "inner foot right" in out.joints
    out, _ = agreed(traced, seen, seen, page_sure=True)
    assert "inner foot left" in out.joints


def test_the_pen_forgot_a_panel_and_the_other_look_has_it() -> None:
    traced = traced_of(traced_shape(), Card())
    whole = replace(traced_profile(traced), inked=True)
    partly = replace(traced_profile(traced, ("fold right",)), inked=True)
    out, notes = agreed(traced, partly, whole)
    assert set(out.joints) == set(whole.joints) and notes == []
    astray = replace(traced_profile(traced, inner_foot_right=(2.5, 0.0)), inked=True)
    gone = replace(partly, joints=tuple(j for j in partly.joints if j != "inner foot right"))
    out, _ = agreed(traced, replace(gone, xy_mm=gone.xy_mm[: len(gone.joints)]), astray)
    assert "inner foot right" not in out.joints


def test_feet_that_slant_against_the_sheet_were_misread() -> None:
    traced = traced_of(traced_shape(), Card())
    assert page_slant_deg(traced.layout, traced_profile(traced)) == pytest.approx(0.0, abs=1e-9)
    off = traced_profile(traced, outer_foot_right=(0.0, 2.6))
    assert page_slant_deg(traced.layout, off) == pytest.approx(np.degrees(np.arctan2(2.6, 120.0)))
    assert page_slant_deg(traced.layout, off) > TUNED.slant_deg


def test_a_fold_whose_sides_differ_by_far_stands_on_a_misread_page() -> None:
    traced = traced_of(traced_shape(spine_seen=True), Card())
    assert fold_gap_mm(traced_profile(traced)) == pytest.approx(0.0, abs=1e-9)
    assert fold_gap_mm(traced_profile(traced, spine=(9.0, 16.0))) > TUNED.closing_mm
    assert fold_gap_mm(traced_profile(traced, ("fold left",))) >= 0.0
