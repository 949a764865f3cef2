"""Every kind of reason, note and advice has words, and they are told in the unit of the spec."""

import pytest

from capture.advice import Advice, Weak
from compare.tell.words.photos.measuring_words import measured_note, unseen_words
from compare.tell.words.photos.photo_advice_words import photo_advice, photo_advice_line
from compare.units import INCH, MM, Unit
from measure.reasons import Note, Noted, Unseen, WhyUnseen

UNITS = pytest.mark.parametrize("unit", [MM, INCH], ids=["mm", "in"])


@UNITS
@pytest.mark.parametrize("kind", Noted)
def test_every_note_has_words(kind: Noted, unit: Unit) -> None:
    said = measured_note(Note(kind=kind, names=("leg left",), mm=1.5, size_mm=90.0), unit)
    assert said and "{" not in said and (unit is MM or " mm" not in said)


@UNITS
@pytest.mark.parametrize("kind", Unseen)
def test_every_reason_has_words(kind: Unseen, unit: Unit) -> None:
    said = unseen_words(WhyUnseen(kind=kind, names=("leg left",), n_seen=3, n_tried=40, mm=1.5), unit)
    assert said and "{" not in said and (unit is MM or " mm" not in said)


@UNITS
@pytest.mark.parametrize("kind", Weak)
def test_every_advice_has_words(kind: Weak, unit: Unit) -> None:
    advice = Advice(kind=kind, strong=False, amount=2.0, px=1.5, count=3, count_of=50, cost_mm=0.2)
    said = photo_advice(advice, unit)
    lengths = said.replace(" mm equivalent", "")  # a lens is told in millimetres everywhere
    assert said and "{" not in said and (unit is MM or " mm" not in lengths)
    assert photo_advice_line(advice, unit).startswith(said)
