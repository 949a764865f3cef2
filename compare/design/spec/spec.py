"""The design spec in trade terms: what the builder meant to make. All lengths in millimetres."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np

from capture.arrays import Array
from compare.compare_errors import SpecError
from compare.design.craft.bench import Makers
from compare.design.craft.fault import Fault
from compare.design.design_facts import Fact
from compare.design.linkage.mechanism import Mechanism
from compare.design.linkage.pose import Pose
from compare.design.pieces.pieces import Pieces
from compare.design.spec.parts import Base, Card, Tolerance
from compare.design.spec.source import Source


class Building(Protocol):
    """What stands on the base, and all that the house asks of it; one class per construction."""

    def mechanism(self, base: Base) -> Mechanism:
        """Return its linkage.

        Raises
        ------
        SpecError : it is no linkage with one freedom.
        """

    def check(self, spec: "Spec") -> None:
        """Refuse what cannot be built.

        Raises
        ------
        SpecError : with line and key of what is to be changed.
        """

    def oblique_halves(self) -> Mapping[str, float]:
        """Halves of planes that are drawn oblique on purpose, and by how many mm."""

    def disagreeing_legs(self, spec: "Spec") -> tuple[Fact, ...]:
        """Legs that do not agree with what else holds their half."""

    def remarks(self, spec: "Spec", phi: Array, pose: Pose) -> tuple[Fact, ...]:
        """Return what is worth knowing of its movement, the pose at openings `phi` (rad, descending)."""

    def key_of(self, name: str) -> tuple[str, str] | None:
        """Return table and key of the spec that give a length; None where no single number does."""

    def feet_beside_spine(self) -> tuple[float, ...]:
        """How far from a spine or crease the feet stand whose tabs point towards it, mm."""

    def cut(self, spec: "Spec", sheet: Pieces) -> None:
        """Add its pieces and the pages to the sheet."""

    def faults(self, names: Sequence[str]) -> tuple[Fault, ...]:
        """Return what goes wrong with it beside single lengths, in the lengths that can be seen end-on.

        A fault that goes by the name of a length stands for that length's own.
        """

    def makers(self) -> Makers:
        """Return by kind of length what one does about it; any other is a strip, made anew."""


@dataclass(frozen=True, kw_only=True)
class Spec:
    """A checked design.

    Attributes
    ----------
    units : the file's own units, "mm" or "in" (all numbers here are mm).
    source : file name, line numbers and hash, for messages and the record.
    building : what stands on the base.
    """

    title: str
    units: str
    base: Base
    card: Card
    tolerance: Tolerance
    source: Source
    building: Building

    @cached_property
    def mechanism(self) -> Mechanism:
        """The linkage of this design."""
        return self.building.mechanism(self.base)

    @property
    def opening(self) -> float:
        """The design's opening, rad."""
        return float(np.radians(self.base.opening_deg))

    def lengths(self) -> dict[str, float]:
        """Nominal lengths by name, mm, in the order they are reported."""
        return dict(self.mechanism.lengths)

    def fail(self, table: str, key: str, text: str) -> SpecError:
        """Return an error that names a key of the file and its line."""
        where = self.source.where(table, key)
        return SpecError(f"{where}: {text}").at(table, key, where)
