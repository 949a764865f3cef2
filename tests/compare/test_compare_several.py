"""Photos of one dummy at different openings: common lengths, feet one by one, disagreement named first."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from compare.cause.symptoms import SymptomKind, symptoms_of
from compare.design.spec.spec import Spec
from compare.jobs.one_photo import Shot
from compare.jobs.several_photos import Gathered, LengthsApart, OtherOpening, gather, known_lengths
from compare.quantities.measured import measured_of
from compare.tell.words.photos.note_words import several_sentence
from compare.units import MM
from measure.profile import Profile
from tests.helpers.made_inspections import inspection_of
from tests.helpers.made_profiles import TWO_SIDED, profile_of, spec_of

N = 60
FAULTS = {"foot left": 0.8, "fold right": -1.5, "leg left": 1.2}


@pytest.fixture(scope="module")
def spec(tmp_path_factory: pytest.TempPathFactory) -> Spec:
    return spec_of(TWO_SIDED, Path(tmp_path_factory.mktemp("several")))


def shots_of(spec: Spec, *profiles: Profile) -> list[Shot]:
    plain = inspection_of(profiles[0], spec).shots[0]
    return [
        replace(plain, profile=p, measured=measured_of(p, spec), photo=replace(plain.photo, name=f"{k}.jpg"))
        for k, p in enumerate(profiles)
    ]


def flat_and_propped(spec: Spec, rng: np.random.Generator) -> Gathered:
    flat = profile_of(spec, FAULTS, rng=rng)
    propped = profile_of(spec, FAULTS, opening_deg=100.0, spine=True, rng=rng)
    return gather(shots_of(spec, flat, propped), spec)


def test_a_flat_and_a_propped_photo_tell_the_feet_one_by_one(spec: Spec) -> None:
    rng = np.random.default_rng(3)
    true = {k: v + FAULTS.get(k, 0.0) for k, v in spec.lengths().items()}
    normal = []
    for _ in range(N):
        joined = flat_and_propped(spec, rng)
        measured = joined.measured
        assert not any(k.startswith("foot") for k in measured.undetermined)
        names = [k for k in true if k in measured.lengths]
        normal += [(measured.lengths[k].value - true[k]) / measured.u(measured.lengths[k]) for k in names]
        assert {"foot left", "foot right", "fold left", "leg right"} <= set(names)
    # some 700 figures, correlated within a dummy
    assert np.std(normal) == pytest.approx(1.0, abs=0.15)
    assert abs(np.mean(normal)) < 0.15


def test_two_openings_are_surer_than_one(spec: Spec) -> None:
    rng = np.random.default_rng(4)
    alone = measured_of(profile_of(spec, FAULTS), spec)
    joined = flat_and_propped(spec, rng).measured
    for name in ("fold left", "leg right", "page spacing left", "plane spacing right"):
        ratio = joined.u(joined.lengths[name]) / alone.u(alone.lengths[name])
        assert ratio == pytest.approx(np.sqrt(0.5), abs=0.08)  # two equal, independent photos
    feet = joined.lengths["foot left"] + joined.lengths["foot right"]
    assert joined.lengths["feet"].value == pytest.approx(feet.value)


def test_the_opening_judged_is_the_first_photos_and_the_other_is_named(spec: Spec) -> None:
    joined = flat_and_propped(spec, np.random.default_rng(5))
    assert joined.openings_deg == pytest.approx((180.0, 100.0), abs=1.0)
    assert np.degrees(joined.measured.opening.value) == pytest.approx(180.0, abs=1.0)
    (note,) = (n for n in joined.notes if isinstance(n, OtherOpening))
    assert note.photos == ("1.jpg",) and "Also 1.jpg, which shows the dummy at 100 deg" in several_sentence(
        note, MM
    )


def test_photos_of_two_dummies_are_named_before_anything_else(spec: Spec) -> None:
    flat = profile_of(spec, FAULTS)
    other = profile_of(spec, {**FAULTS, "leg left": -2.0}, opening_deg=100.0, spine=True)
    notes = gather(shots_of(spec, flat, other), spec).notes
    assert isinstance(notes[0], LengthsApart) and notes[0].length == "leg left"
    assert several_sentence(notes[0], MM).startswith("The photos do not agree about leg left")
    same = gather(shots_of(spec, flat, profile_of(spec, FAULTS, opening_deg=100.0, spine=True)), spec).notes
    assert not any(isinstance(note, LengthsApart) for note in same)


def test_lengths_of_the_first_photo_guide_the_search_in_the_next(spec: Spec) -> None:
    shot = shots_of(spec, profile_of(spec, FAULTS))[0]
    known = known_lengths(shot, spec)
    assert known["fold right"] == pytest.approx(spec.lengths()["fold right"] - 1.5, abs=1e-6)
    assert "feet" not in known and "foot left" not in known
    pose = spec.mechanism.solve(known, np.radians(100.0))
    assert np.all(np.isfinite(pose.joints["ridge"]))


@pytest.mark.parametrize("width", [-1.5, 0.5])
def test_a_plane_that_ends_at_its_leg_is_not_called_bent(spec: Spec, width: float) -> None:
    """Its cut edge then says nothing of a bend, wherever beside the leg it lies."""
    short = {"plane left": spec.lengths()["plane spacing left"] + width - spec.lengths()["plane left"]}
    profile = profile_of(spec, short)
    edge = profile.joints.index("plane edge left")
    xy = profile.xy_mm.copy()
    xy[edge] += (0.0, 0.4)
    bent = replace(profile, xy_mm=xy)
    found = symptoms_of(bent, measured_of(bent, spec), spec)
    assert not any(s.kind is SymptomKind.BENT for s in found)
