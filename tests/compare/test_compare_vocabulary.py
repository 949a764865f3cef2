"""Names: spelled in one way, taken apart in one place, and nowhere lost on the way."""

from itertools import product

import pytest

from compare.tell.words.name_words import called, spoken
from compare.vocabulary import (
    Kind,
    Name,
    Told,
    closing_rule,
    equality,
    feet_equality,
    half_of_panel,
    leg_numbers,
    named,
    parsed,
    told_of,
)
from measure.part_names import part_name
from measure.sides import SIDES

WORDS = ("stage", "1", "2", "02", "leg", "right", "lean", "")


def test_what_is_spelled_is_parsed_to_the_same() -> None:
    for kind, side, stage, number, told in product(Kind, ("", *SIDES), (1, 2, 12), (0, 1, 12), ("", *Told)):
        name = Name(kind, side, stage, number, told)
        assert parsed(str(name)) == name


def test_no_name_of_a_drawn_linkage_changes_on_the_way() -> None:
    for n in range(6):
        for words in product(WORDS, repeat=n):
            text = " ".join(words)
            assert str(parsed(text)) == text


def test_names_are_taken_apart() -> None:
    n = parsed("stage 2 page spacing 1 left")
    assert (n.stage, n.kind, n.number, n.side) == (2, Kind.PAGE_SPACING, 1, "left")
    assert n.other(Kind.LEG) == "stage 2 leg 1 left"
    assert n.other(Kind.FOOT, numbered=False) == "stage 2 foot left"
    assert n.half == "stage 2 left" and n.mirrored == "stage 2 page spacing 1 right"
    assert n.sideless == "stage 2 page spacing 1" and n.bare == "page spacing 1"


def test_what_is_told_of_something_names_it() -> None:
    n = parsed("lean stage 2 right")
    assert (n.told, n.kind, n.side, n.stage, n.about) == (Told.LEAN, "", "right", 2, "stage 2 right")
    assert parsed("closing sum right, leg 1").about == closing_rule("right", 1) == "right, leg 1"
    assert told_of(Told.CLOSING_SUM, closing_rule("left", stage=3)) == "closing sum stage 3 left"
    assert parsed("closing feet").told == Told.CLOSING and parsed("clearance left").side == "left"
    assert parsed("leg right").about == "leg right" and not parsed("leg right").told


def test_rules_between_lengths() -> None:
    assert equality("stage 2 leg 1 right", "stage 2 fold right") == "stage 2 leg 1 = fold right"
    assert equality("plane spacing 2 left", "page spacing 2 left") == "plane spacing 2 = page spacing 2 left"
    assert equality("leg left", "crease") == "leg = crease left"
    assert feet_equality() == "foot + fold, left = right"
    rules = [feet_equality(2), equality("leg left", "crease"), told_of(Told.CLOSING_SUM, "feet")]
    assert all(parsed(rule).compares for rule in rules)
    assert not parsed("leg left").compares and not parsed("lean left").compares


def test_lengths_of_a_drawn_page_are_known_as_such() -> None:
    assert all(parsed(k).is_page for k in ("page left", "page left 2"))
    assert not any(parsed(k).is_page for k in ("page spacing left", "page spacing 1 left", "plane left"))
    assert half_of_panel("plane roof left") == "roof left" and half_of_panel("roof left") == "roof left"


def test_one_leg_has_no_number() -> None:
    assert [named(Kind.LEG, "left", i) for i in leg_numbers(1)] == ["leg left"]
    assert [named(Kind.LEG, "left", i) for i in leg_numbers(2)] == ["leg 1 left", "leg 2 left"]


def test_measuring_spells_names_the_same_way() -> None:
    for kind in Kind:
        for side in ("", *SIDES):
            for number in (0, 1, 12):
                assert part_name(kind, side, number) == named(kind, side, number)


@pytest.mark.parametrize(
    ("name", "part"),
    [
        ("stage 2 leg 1 left", "stage 2 leg 1 left"),
        ("leg right", "leg right"),
        ("stage 2 page spacing 1 left", "stage 2 outer foot 1 left"),
        ("plane spacing 2 right", "the top of leg 2 right"),
        ("support foot left", "the foot of support left"),
        ("roof left", "roof left"),
        ("leg 1", "leg 1"),
    ],
)
def test_parts_in_plain_words(name: str, part: str) -> None:
    assert called(name) == part


def test_lengths_in_a_sentence() -> None:
    assert spoken("plane spacing 2 left") == "plane spacing 2 left"
    assert spoken("closing sum right") == "the closing sum right"
    assert spoken("clearance right") == "the clearance at the right fore edge"
    assert spoken("height") == "height"
