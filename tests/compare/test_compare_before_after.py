"""One dummy before and after a repair: what changed, with its own smaller uncertainty."""

import json
from pathlib import Path

import numpy as np
import pytest

from capture.errors import FoldgaugeError
from compare.design.spec.spec import Spec
from compare.jobs.before_after import Changes, changes_since, read_before
from compare.tell.check.check_json import findings_dict
from compare.tell.words.photos.change_words import change_sentences, changes_dict
from compare.verdict.findings import Findings, compare_profile
from tests.helpers.made_profiles import TWO_SIDED, profile_of, spec_of

SETUP = {"use": "arch", "standoff_mm": 0.0, "camera": None, "paper": "a4"}
SCALE = 0.01  # a print scale nobody measured: 0.4 mm on a leg, the same in both photos
NOISE = 0.04


def findings(spec: Spec, faults: dict[str, float], rng: np.random.Generator | None = None) -> Findings:
    return compare_profile(profile_of(spec, faults, noise=NOISE, scale=SCALE, rng=rng), spec)


def written(found: Findings, path: Path, **setup: object) -> Path:
    told = SETUP | setup
    data = findings_dict(found) | {k: told[k] for k in ("use", "standoff_mm", "camera")}
    path.write_text(json.dumps(data | {"sheet": {"paper": told["paper"]}}))
    return path


def compared(place: Path, before: dict[str, float], after: dict[str, float], **setup: object) -> Changes:
    spec = spec_of(TWO_SIDED, place)
    earlier = read_before(written(findings(spec, before), place / "before.json", **setup))
    return changes_since(earlier, findings(spec, after), SETUP)


def test_what_a_repair_changed_is_surer_than_either_photo(tmp_path: Path) -> None:
    found = compared(tmp_path, {"leg left": -1.6}, {"leg left": -0.4})
    first = next(c for c in found.changes if c.item.name == "leg left")
    assert found.same_setup and first.sure and first.amount == pytest.approx(1.2, abs=1e-6)
    # two photos' own errors alone: both ends of both legs
    assert first.u == pytest.approx(2 * NOISE, rel=0.1) and first.u < 0.5 * first.item.u
    told = change_sentences(found, "mm")
    assert told[0].startswith("Since before.json: ") and "leg left 1.2 mm more (within 0.2 mm)" in told[0]
    assert told[1] == "The other lengths are as they were, within 0.2 mm."
    data = changes_dict(found, "mm")["items"]["leg left"]
    assert data["sure"] and data["before"] == pytest.approx(38.4, abs=1e-5)


def test_where_the_set_up_changed_nothing_cancels(tmp_path: Path) -> None:
    alike = compared(tmp_path, {}, {})
    other = compared(tmp_path, {}, {}, paper="letter")
    assert not other.same_setup and not any(c.sure for c in other.changes)
    u = [next(c.u for c in found.changes if c.item.name == "leg left") for found in (alike, other)]
    assert u[1] > 3 * u[0]
    told = change_sentences(other, "mm")
    assert told[0] == "Since before.json nothing changed for sure." and "were not taken alike" in told[-1]


def test_the_stated_uncertainty_of_a_change_is_its_scatter(tmp_path: Path) -> None:
    """Pairs of photos: what they tell of a dummy that did not change scatters as stated."""
    spec, rng = spec_of(TWO_SIDED, tmp_path), np.random.default_rng(6)
    off = []
    for _ in range(15):
        profiles = [profile_of(spec, {}, noise=NOISE, scale=0.0, rng=rng) for _ in range(2)]
        one, two = (compare_profile(p, spec) for p in profiles)
        earlier = read_before(written(one, tmp_path / "b.json"))
        for c in changes_since(earlier, two, SETUP).changes:
            if c.item.name.startswith(("leg ", "plane spacing ", "fold ")) and "=" not in c.item.name:
                off.append(c.amount / c.u)
    assert 0.75 < np.std(off) < 1.25  # 90 changes, some of them correlated: about 10 %


@pytest.mark.parametrize("text", ["", "{", "[]", "null", '{"lengths": 3}', "\x00\xff", '{"lengths": {}}'])
def test_what_is_no_earlier_result(tmp_path: Path, text: str) -> None:
    path = tmp_path / "b.json"
    path.write_text(text, encoding="latin-1")
    with pytest.raises(FoldgaugeError, match=r"b\.json is no earlier result: the check of the photo"):
        read_before(path)
    with pytest.raises(FoldgaugeError, match="cannot be read"):
        read_before(tmp_path)


def test_another_dummy_is_told(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    earlier = read_before(written(findings(spec, {}), tmp_path / "b.json"))
    other = type(earlier)(file="b.json", items={}, setup=earlier.setup)
    with pytest.raises(FoldgaugeError, match="is it the same dummy"):
        changes_since(other, findings(spec, {}), SETUP)
