"""The movement from photos at several openings: what leans where, one fit of all lengths, residuals shown."""

import io
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from compare.design.spec.spec import Spec
from compare.jobs.check_dummy import Inspection
from compare.jobs.several_photos import gather
from compare.quantities.measured import measured_of
from compare.tell.check.check_json import inspection_dict
from compare.tell.check.check_page import report_html
from compare.tell.motion_seen.motion_table import print_motion
from compare.tell.words.photos.motion_words import motion_sentences
from compare.verdict.findings import compare_profile
from measure.profile import Profile
from tests.helpers.made_inspections import inspection_of
from tests.helpers.made_profiles import TWO_SIDED, profile_of, spec_of

# Leg 1 mm long and its foot 3 mm out: level when flat, leaning 2.7828 degrees at 90 (independent solver of
# rigid panels, fold 40, foot 12, spacing 60).
LEVEL_WHEN_FLAT = {"leg right": 1.0, "page spacing right": 3.0}


@pytest.fixture(scope="module")
def spec(tmp_path_factory: pytest.TempPathFactory) -> Spec:
    return spec_of(TWO_SIDED, Path(tmp_path_factory.mktemp("motion")))


def inspected(spec: Spec, profiles: list[Profile]) -> Inspection:
    plain = inspection_of(profiles[0], spec)
    shots = [
        replace(
            plain.shots[0],
            profile=p,
            measured=measured_of(p, spec),
            photo=replace(plain.photo, name=f"{k}.jpg"),
        )
        for k, p in enumerate(profiles)
    ]
    gathered = gather(shots, spec)
    findings = compare_profile(gathered.profile, spec, measured=gathered.measured)
    return replace(plain, shots=tuple(shots), gathered=gathered, findings=findings)


def at_openings(
    spec: Spec,
    faults: dict[str, float],
    rng: np.random.Generator | None = None,
    last: dict[str, float] | None = None,
) -> Inspection:
    profiles = [profile_of(spec, faults, rng=rng)]
    profiles += [profile_of(spec, faults, opening_deg=150.0, spine=True, rng=rng)]
    profiles += [profile_of(spec, faults if last is None else last, opening_deg=90.0, spine=True, rng=rng)]
    return inspected(spec, profiles)


def test_level_when_flat_and_leaning_at_ninety(spec: Spec) -> None:
    inspection = at_openings(spec, LEVEL_WHEN_FLAT)
    motion = inspection.motion
    assert motion is not None
    assert [round(o.opening_deg) for o in motion.openings] == [180, 150, 90]
    lean = {round(o.opening_deg): n for o in motion.openings for n in o.leans if n.half == "right"}
    assert lean[180].seen_deg == pytest.approx(0.0, abs=0.1)
    assert lean[90].seen_deg == pytest.approx(2.78, abs=0.05)
    for n in lean.values():  # no noise: the lengths explain it all
        assert n.fitted_deg == pytest.approx(n.seen_deg, abs=0.05) and n.design_deg == pytest.approx(0.0)
    told = motion_sentences(motion, 1.0, inspection.findings.binding)
    assert told[0].startswith("At 90 degrees the right half leans +2.8 degrees (±")
    assert "although it lies level at 180" in told[0]
    assert "By the lengths of all photos (180, 150 and 90 degrees) it binds at about" in told[1]
    assert len(told) == 2


def test_a_good_dummy_is_as_designed_everywhere(spec: Spec) -> None:
    inspection = at_openings(spec, {})
    assert inspection.motion is not None
    told = motion_sentences(inspection.motion, 1.0, inspection.findings.binding)
    assert told[0] == "As designed within 0.1 degrees at every opening photographed: 180, 150 and 90 degrees."


def test_one_photo_shows_no_movement(spec: Spec) -> None:
    assert inspected(spec, [profile_of(spec, {})]).motion is None


def test_residuals_are_as_large_as_stated(spec: Spec) -> None:
    """Pulls of noisy photos about the common fit: no larger than one; those of leans are cautious."""
    rng = np.random.default_rng(8)
    lengths, leans = [], []
    for _ in range(25):
        motion = at_openings(spec, LEVEL_WHEN_FLAT, rng).motion
        assert motion is not None
        for o in motion.openings:
            lengths += [r.rest_mm / r.u_mm for r in o.lengths if r.name != "feet"]
            leans += [n.rest_deg / n.rest_u_deg for n in o.leans]
    assert 0.8 < np.std(lengths) < 1.15
    assert 0.3 < np.std(leans) < 1.1


def test_another_dummy_in_the_last_photo_is_told(spec: Spec) -> None:
    inspection = at_openings(spec, {}, last={"leg right": -4.0})
    motion = inspection.motion
    assert motion is not None
    told = motion_sentences(motion, 1.0, inspection.findings.binding)
    assert any(line.startswith("2.jpg: ") and "right half's lean" in line for line in told)
    worst = motion.openings[-1].worst
    assert worst is not None and worst.name == "leg right"


def test_it_is_printed_written_and_drawn(spec: Spec) -> None:
    inspection = at_openings(spec, LEVEL_WHEN_FLAT)
    motion = inspection.motion
    assert motion is not None
    stream = io.StringIO()
    print_motion(motion, inspection.findings, stream)
    assert "although it lies level at 180" in stream.getvalue() and "all photos together" in stream.getvalue()
    data = json.loads(json.dumps(inspection_dict(inspection)["motion"], allow_nan=False))
    assert data["openings"][2]["lean"]["right"]["seen"] == pytest.approx(2.78, abs=0.05)
    page = report_html(inspection)
    assert "although it lies level at 180" in page
    assert page.count("Lean of the left half: ") >= 1 and page.count("Lean of the right half: ") >= 1
