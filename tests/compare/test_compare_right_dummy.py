"""Another dummy, one the other way round, two mixed in one call: one line, and nothing else is said."""

from pathlib import Path

import numpy as np
import pytest

from capture.errors import SetupError
from compare.design.expected_layout import layout_of
from compare.design.spec.spec import Spec
from compare.jobs.right_dummy import (
    exchanged,
    lopsided,
    refuse_exchanged,
    require_one_dummy,
    require_this_design,
)
from compare.quantities.measured import Measured, measured_of
from tests.helpers.made_profiles import ASYMMETRIC, TWO_SIDED, profile_of, spec_of


@pytest.fixture(scope="module")
def spec(tmp_path_factory: pytest.TempPathFactory) -> Spec:
    return spec_of(TWO_SIDED, Path(tmp_path_factory.mktemp("right")))


@pytest.fixture(scope="module")
def uneven(tmp_path_factory: pytest.TempPathFactory) -> Spec:
    return spec_of(ASYMMETRIC, Path(tmp_path_factory.mktemp("uneven")))


def measured(spec: Spec, seed: int = 1, **changes: float) -> Measured:
    named = {k.replace("_", " "): v for k, v in changes.items()}
    return measured_of(profile_of(spec, named, rng=np.random.default_rng(seed)), spec)


def test_two_faults_are_faults_and_no_other_dummy(spec: Spec) -> None:
    require_this_design("a.jpg", measured(spec, leg_left=3.0, plane_left=2.0, plane_right=-2.0), spec)


def test_a_dummy_of_other_lengths_is_said_to_be_another(spec: Spec) -> None:
    sides = ("left", "right")
    other = {f"{k}_{s}": d for k, d in (("leg", 3.0), ("fold", 3.0), ("page_spacing", -6.0)) for s in sides}
    other |= {f"plane_spacing_{s}": -6.0 for s in sides}
    with pytest.raises(SetupError, match=r"^a\.jpg: what was found is not the dummy of this design: \d+ of"):
        require_this_design("a.jpg", measured(spec, **other), spec)


def test_a_dummy_seen_from_its_other_end_is_recognised(uneven: Spec) -> None:
    """Left and right of the design are 8 and 5 mm apart; the photo shows each on the other side."""
    assert lopsided(uneven)
    nominal = uneven.lengths()
    crossed = {
        k.replace(" ", "_"): nominal[k.replace("left", "@").replace("right", "left").replace("@", "right")]
        - v
        for k, v in nominal.items()
    }
    seen = measured(uneven, **crossed)
    with pytest.raises(SetupError, match=r"left and right are exchanged"):
        refuse_exchanged("a.jpg", seen, seen, uneven)
    as_designed = measured(uneven)
    refuse_exchanged("a.jpg", as_designed, as_designed, uneven)


def test_an_exchanged_layout_has_every_joint_where_the_other_was(uneven: Spec, spec: Spec) -> None:
    assert not lopsided(spec)
    layout = layout_of(uneven)
    other = exchanged(layout)
    assert other is not None and other.joint_names == layout.joint_names
    assert other.at("leg top left") == pytest.approx(layout.at("leg top right") * (-1, 1))
    assert other.at("ridge") == pytest.approx(layout.at("ridge") * (-1, 1))


def test_photos_of_one_dummy_go_together(spec: Spec) -> None:
    require_one_dummy(["a.jpg", "b.jpg"], [measured(spec, 1, leg_left=2.0), measured(spec, 2, leg_left=2.0)])


def test_photos_of_two_dummies_do_not(spec: Spec) -> None:
    with pytest.raises(SetupError, match=r"^c\.jpg and a\.jpg do not show one dummy: leg left is 38\.\d mm"):
        require_one_dummy(
            ["a.jpg", "b.jpg", "c.jpg"],
            [measured(spec, 1), measured(spec, 2), measured(spec, 3, leg_left=-2.0)],
        )
