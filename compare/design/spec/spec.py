"""The design spec in trade terms: what the builder meant to make. All lengths in millimetres."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, Final

from capture.files import FileBytes
from compare.design.linkage.mechanism import Mechanism
from compare.design.spec.parts import (
    Base,
    Card,
    Construction,
    Drawing,
    Fold,
    Parallelogram,
    Pillar,
    Plane,
    Tolerance,
    VFold,
)
from compare.design.spec.spec_file import Source, read_form
from measure.sides import SIDES

__all__ = ["Base", "Card", "Fold", "Parallelogram", "Plane", "Spec", "Tolerance", "load_spec"]

NONE: Final = float("nan")


@dataclass(frozen=True, kw_only=True)
class Spec:
    """A checked design.

    Exactly one of the four ways of building is given: `stages` (a parallel fold on the base and what stands
    on its plane), `vfold`, `pillar` or `drawing`.

    Attributes
    ----------
    units : the file's own units, "mm" or "in" (all numbers here are mm).
    source : file name, line numbers and hash, for messages and the record.
    warnings : plain sentences about the design itself.
    """

    title: str
    units: str
    base: Base
    card: Card
    tolerance: Tolerance
    source: Source
    stages: tuple[Construction, ...] = ()
    vfold: VFold | None = None
    pillar: Pillar | None = None
    drawing: Drawing | None = None
    warnings: tuple[str, ...] = ()

    @cached_property
    def mechanism(self) -> Mechanism:
        """The linkage of this design."""
        from compare.design.linkage.build_mechanism import (
            mechanism_of,  # it needs Spec, so it is imported here
        )

        return mechanism_of(self)

    @property
    def fold(self) -> Fold:
        """The parallel fold on the base; nan where there is none."""
        return (
            self.stages[0].fold
            if self.stages
            else Fold(left=NONE, right=NONE, foot_left=NONE, foot_right=NONE)
        )

    @property
    def plane(self) -> Plane:
        """The lowest floating plane."""
        if self.stages:
            return self.stages[0].plane
        carrier = self.vfold or self.pillar
        return carrier.plane if carrier else Plane(left=0.0, right=0.0)

    @property
    def left(self) -> Parallelogram | None:
        """The outermost leg under the left half of the lowest plane."""
        return self.half("left")

    @property
    def right(self) -> Parallelogram | None:
        """The outermost leg under the right half of the lowest plane."""
        return self.half("right")

    @property
    def sides(self) -> tuple[str, ...]:
        """Sides that have a half of the lowest plane with a leg."""
        return tuple(s for s in SIDES if self.half(s) is not None)

    @property
    def is_plain(self) -> bool:
        """True for one parallel fold with a plane and at most one leg under each half."""
        if len(self.stages) != 1:
            return False
        c = self.stages[0]
        return not c.supports and not c.flaps and all(len(c.legs[s]) <= 1 for s in SIDES)

    def half(self, side: str) -> Parallelogram | None:
        """Return the outermost leg of one side, or None."""
        if self.stages:
            legs = self.stages[0].legs[side]
            return legs[-1] if legs else None
        carrier = self.vfold or self.pillar
        return carrier.legs.get(side) if carrier else None

    def lengths(self) -> dict[str, float]:
        """Nominal lengths by name, mm, in the order they are reported."""
        return dict(self.mechanism.lengths)


def load_spec(file: str | Path | FileBytes) -> Spec:
    """Read a design spec.

    Parameters
    ----------
    file : a TOML file (see the README for its keys), or its bytes.

    Returns
    -------
    Spec, in mm, checked: its loops can be assembled at the stated opening.

    Raises
    ------
    SpecError : one line with file, line, key, what came and what is allowed.
    """
    from compare.design.study.feasible import checked

    data, source = read_form(file)
    return checked(spec_of_form(data, source))


def spec_of_form(data: Mapping[str, Any], source: Source) -> Spec:
    """Turn the tables of a checked form into a spec; geometry not checked yet.

    Raises
    ------
    SpecError : tables that belong together are missing or do not go together.
    """
    from compare.design.spec.convert import spec_of

    return spec_of(data, source)
