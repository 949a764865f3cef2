"""A design looked at while it is typed: drawing to scale, sums, what is wrong and where."""

from dataclasses import dataclass
from typing import Final

from capture.errors import FoldgaugeError
from capture.files import FileBytes
from compare.compare_errors import SpecError
from compare.desk.drawings.dummy_drawing import DummyDrawing, dummy_drawing
from compare.desk.words.desk_option_names import desk_line

NAME: Final = "design.toml"
SLACK: Final = 0.05  # mm or degrees; less is rounding of the drawing


@dataclass(frozen=True, slots=True)
class Sum:
    """Two things that must be equal: in words, how far they differ, whether that matters."""

    words: str
    difference: str
    off: bool


@dataclass(frozen=True, slots=True)
class Look:
    """What there is to see of a design.

    Attributes
    ----------
    drawing : None if it cannot be built. headline : one line on whether it is sound. sound : True if so.
    slip : what is wrong, if it cannot be built; place : name of the field it is about, "" if none.
    """

    drawing: DummyDrawing | None
    sums: tuple[Sum, ...]
    headline: str
    sound: bool
    slip: str = ""
    place: str = ""


def look_at(text: str) -> Look:
    """Return what there is to see of a spec's text."""
    from compare.design.load_spec import load_spec
    from compare.design.study.concerns import concerns
    from compare.design.study.motion import move
    from compare.tell.design.design_text import equalities
    from compare.tell.words.designs.design_words import headline
    from compare.units import unit_of

    try:
        spec = load_spec(FileBytes(NAME, text.encode("utf-8")))
    except FoldgaugeError as err:
        place = err.place if isinstance(err, SpecError) else None
        name = ".".join(p for p in place if p) if place else ""
        said = err.said if isinstance(err, SpecError) and err.said else desk_line(err)
        return Look(None, (), "", False, said, name)
    found = concerns(spec, move(spec))
    unit = unit_of(spec.units)
    sums = tuple(
        Sum(
            words,
            f"{unit.signed(by)} {unit.name}" if kind == "mm" else f"{by + 0.0:+.2f}°",
            abs(by) > SLACK,
        )
        for words, by, kind in equalities(spec)
    )
    return Look(dummy_drawing(spec), sums, headline(spec, found), not found)
