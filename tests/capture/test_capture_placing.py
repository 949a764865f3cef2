"""How the sheet is taken and where the near end stands: as was said, else as photo or design shows."""

from types import SimpleNamespace
from typing import cast

import pytest

from capture.errors import Option, SetupError
from capture.placing import Depth, NearEnd, Placing, TakenFor, Why, placings
from capture.setup import Setup, Use
from capture.solved import Solved
from compare.tell.words.option_names import COMMAND_LINE
from compare.tell.words.photos.placing_notes import placing_notes, traced_placing_notes
from compare.units import MM

NEAR_END = NearEnd(80.0, Depth.BASE)


def solved(band_seen: bool, use: Use = "auto", standoff_mm: float | None = None) -> Solved:
    """Only what a placing looks at."""
    sighting = SimpleNamespace(bottom_band_seen=band_seen)
    view = SimpleNamespace(apron=None)
    setup = Setup(use=use, standoff_mm=standoff_mm)
    return cast(Solved, SimpleNamespace(setup=setup, sighting=sighting, view=view))


def told(ways: tuple[Placing, ...]) -> list[tuple[str, float, float]]:
    return [(w.use, w.standoff_mm, w.standoff_err_mm) for w in ways]


@pytest.mark.parametrize(
    ("band", "use", "standoff", "ways"),
    [
        (False, "auto", None, [("arch", 0.0, 0.5), ("backdrop", 80.0, 1.0)]),
        (True, "auto", None, [("backdrop", 80.0, 1.0), ("arch", 0.0, 0.5)]),
        (False, "auto", 60.0, [("backdrop", 60.0, 0.5)]),
        (False, "auto", 0.0, [("arch", 0.0, 0.5)]),
        (True, "arch", None, [("arch", 0.0, 0.5)]),
        (False, "backdrop", None, [("backdrop", 80.0, 1.0)]),
        (False, "backdrop", 0.0, [("backdrop", 0.0, 0.5)]),
    ],
)
def test_with_a_design(
    band: bool, use: Use, standoff: float | None, ways: list[tuple[str, float, float]]
) -> None:
    assert told(placings(solved(band, use, standoff), NEAR_END)) == ways


def test_without_a_design_a_backdrop_wants_its_standoff() -> None:
    assert told(placings(solved(False))) == [("arch", 0.0, 0.5)]
    assert told(placings(solved(True, standoff_mm=60.0))) == [("backdrop", 60.0, 0.5)]
    with pytest.raises(SetupError, match="give the standoff, the mm") as caught:
        placings(solved(True))
    assert "give --standoff, the mm" in caught.value.told(COMMAND_LINE)
    assert caught.value.told(COMMAND_LINE).endswith("or say --use arch")


def test_an_arch_stands_flush() -> None:
    with pytest.raises(SetupError, match="the standoff belongs to backdrop use") as caught:
        placings(solved(False, "arch", 60.0), NEAR_END)
    assert caught.value.speaks_of(Option.STANDOFF)


def test_what_was_assumed_is_told_and_what_was_said_is_not() -> None:
    first, second = placings(solved(False), NearEnd(55.0, Depth.STRIPS))
    assert first.assumed == (TakenFor("arch", Why.BAND_NOT_SEEN),)
    assert placing_notes(first.assumed, MM) == [
        "The sheet is taken for an arch (flush with the near end): no lower band is in the picture. If that "
        "is wrong, say --use."
    ]
    assert placing_notes(second.assumed, MM) == [
        "The sheet is taken for a backdrop (behind the dummy): as an arch (flush with the near end) the "
        "dummy made no sense. If that is wrong, say --use arch.",
        "The near end is taken to stand 55 mm in front of the sheet (strip depth).",
    ]
    assert len(traced_placing_notes(first.assumed)) == 1
    (said,) = placings(solved(True, "arch"), NEAR_END)
    assert said.assumed == () and placing_notes(said.assumed, MM) == []
