"""A table on a pillar, as the house asks of every construction."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from capture.arrays import Array
from compare.design.constructions.construction import Construction
from compare.design.constructions.leg_and_plane.leg_form import CARRIED, carried_key
from compare.design.constructions.leg_and_plane.plane_faults import plane_faults
from compare.design.constructions.leg_and_plane.plane_moves import PLANE_MAKERS
from compare.design.constructions.pillar.pillar_checks import check_pillar
from compare.design.constructions.pillar.pillar_form import PILLAR as FORM
from compare.design.constructions.pillar.pillar_form import Pillar, pillar_of
from compare.design.constructions.pillar.pillar_mechanism import mechanism_of_pillar
from compare.design.constructions.pillar.pillar_pieces import cut_pillar
from compare.design.craft.bench import Makers
from compare.design.craft.fault import Fault
from compare.design.design_facts import Fact
from compare.design.linkage.mechanism import Mechanism
from compare.design.linkage.pose import Pose
from compare.design.pieces.pieces import Pieces
from compare.design.spec.parts import Base
from compare.design.spec.spec import Spec
from compare.design.spec.spec_tables import Tables


@dataclass(frozen=True, slots=True, kw_only=True)
class TipsPart(Fact):
    """As it shuts the two tips of the pillar part, from so far to so far."""

    open_mm: float
    shut_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LeansOnTheWay(Fact):
    """Level open and shut, the plane leans in between, most at this opening."""

    lean_deg: float
    opening_deg: float


@dataclass(frozen=True, slots=True)
class PillarBuilding:
    """A table on a pillar of two V-folds."""

    pillar: Pillar

    def mechanism(self, base: Base) -> Mechanism:
        """Return the linkage."""
        return mechanism_of_pillar(base, self.pillar)

    def check(self, spec: Spec) -> None:
        """Refuse what cannot be built."""
        check_pillar(spec, self.pillar)

    def oblique_halves(self) -> Mapping[str, float]:
        """Return nothing: none is oblique on purpose."""
        return {}

    def disagreeing_legs(self, spec: Spec) -> tuple[Fact, ...]:
        """Return nothing: each half has the one leg it needs."""
        return ()

    def remarks(self, spec: Spec, phi: Array, pose: Pose) -> tuple[Fact, ...]:
        """Say how the tips part, and how far the plane leans between open and shut."""
        span = pose.points["near tip"][:, 2] - pose.points["far tip"][:, 2]
        span = span[np.isfinite(span)]
        out: list[Fact] = [TipsPart(open_mm=float(span[0]), shut_mm=float(span[-1]))]
        lean = np.degrees(pose.lean["right"])
        if np.isfinite(lean).any():
            at = int(np.nanargmax(np.abs(lean)))
            out.append(LeansOnTheWay(lean_deg=float(lean[at]), opening_deg=float(np.degrees(phi[at]))))
        return tuple(out)

    def key_of(self, name: str) -> tuple[str, str] | None:
        """Return table and key of a length."""
        own = {"crease near": "crease", "crease far": "crease_far", "gap": "gap"}
        own |= {"glue angle": "glue_angle", "panel angle": "angle"}
        return ("pillar", own[name]) if name in own else carried_key(name)

    def feet_beside_spine(self) -> tuple[float, ...]:
        """Return nothing: its tabs run along its glue lines."""
        return ()

    def cut(self, spec: Spec, sheet: Pieces) -> None:
        """Add pages, V-folds, legs and plane."""
        cut_pillar(spec, self.pillar, sheet)

    def faults(self, names: Sequence[str]) -> tuple[Fault, ...]:
        """Return what goes wrong with its plane."""
        return tuple(plane_faults(1, names))

    def makers(self) -> Makers:
        """Return the repairs of legs and plane."""
        return PLANE_MAKERS


def _read(f: Tables) -> PillarBuilding:
    return PillarBuilding(pillar_of(f))


PILLAR: Final = Construction(
    tables={"pillar": FORM, **CARRIED}, known_by=("pillar",), shown="[pillar]", read=_read
)
