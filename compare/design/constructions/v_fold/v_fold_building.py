"""A V-fold that carries a plane, as the house asks of every construction."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from capture.arrays import Array
from compare.design.constructions.construction import Construction
from compare.design.constructions.leg_and_plane.leg_form import CARRIED, carried_key
from compare.design.constructions.leg_and_plane.plane_faults import plane_faults
from compare.design.constructions.leg_and_plane.plane_moves import PLANE_MAKERS
from compare.design.constructions.v_fold.v_fold_checks import check_vfold
from compare.design.constructions.v_fold.v_fold_form import VFOLD, VFold, vfold_of
from compare.design.constructions.v_fold.v_fold_mechanism import mechanism_of_vfold
from compare.design.constructions.v_fold.v_fold_moves import V_FOLD_MAKERS
from compare.design.constructions.v_fold.v_fold_pieces import cut_vfold
from compare.design.craft.bench import Makers
from compare.design.craft.fault import Fault
from compare.design.design_facts import Fact, LegDisagrees
from compare.design.linkage.mechanism import Mechanism
from compare.design.linkage.pose import Pose
from compare.design.pieces.pieces import Pieces
from compare.design.spec.parts import Base
from compare.design.spec.spec import Spec
from compare.design.spec.spec_tables import Tables
from compare.design.study.soundness import CLOSING_SLACK
from compare.vocabulary import Kind, parsed


@dataclass(frozen=True, slots=True, kw_only=True)
class Travels(Fact):
    """As it shuts the plane travels so far away from the camera."""

    away_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LegsDecide(Fact):
    """Laid flat, the legs and not the V-fold decide whether the plane is level."""


@dataclass(frozen=True, slots=True)
class VFoldBuilding:
    """A V-fold with its plane."""

    vfold: VFold

    def mechanism(self, base: Base) -> Mechanism:
        """Return the linkage."""
        return mechanism_of_vfold(base, self.vfold)

    def check(self, spec: Spec) -> None:
        """Refuse what cannot be built."""
        check_vfold(spec, self.vfold)

    def oblique_halves(self) -> Mapping[str, float]:
        """Return nothing: none is oblique on purpose."""
        return {}

    def disagreeing_legs(self, spec: Spec) -> tuple[Fact, ...]:
        """Return the legs that are no copy of the V-fold's panel."""
        stretch = spec.mechanism.solve({}, spec.opening).stretch
        return tuple(
            LegDisagrees(leg=leg, more_mm=float(v), copies_panel=True)
            for leg, v in stretch.items()
            if abs(float(v)) > CLOSING_SLACK
        )

    def remarks(self, spec: Spec, phi: Array, pose: Pose) -> tuple[Fact, ...]:
        """Say how far it travels, which an end-on photo does not show, and what decides at flat."""
        travel = pose.points["ridge"][:, 2]
        travel = travel[np.isfinite(travel)]
        out: list[Fact] = [Travels(away_mm=abs(float(travel[0] - travel[-1])))]
        if len(spec.mechanism.halves) == 2 and self.vfold.legs:
            out.append(LegsDecide())
        return tuple(out)

    def key_of(self, name: str) -> tuple[str, str] | None:
        """Return table and key of a length or angle."""
        n = parsed(name)
        own = {
            Kind.GLUE_ANGLE: "glue_angle",
            Kind.VFOLD_ANGLE: "angle",
            Kind.WIDTH: "width",
            Kind.PLANE_ANGLE: "plane_angle",
        }
        if n.kind in own:
            return f"vfold.{n.side}", own[Kind(n.kind)]
        return ("vfold", "crease") if n.kind == Kind.CREASE else carried_key(name)

    def feet_beside_spine(self) -> tuple[float, ...]:
        """Return nothing: its tabs run along its glue lines."""
        return ()

    def cut(self, spec: Spec, sheet: Pieces) -> None:
        """Add V-fold, legs, pages and plane."""
        cut_vfold(spec, self.vfold, sheet)

    def faults(self, names: Sequence[str]) -> tuple[Fault, ...]:
        """Return what goes wrong with its plane."""
        return tuple(plane_faults(1, names))

    def makers(self) -> Makers:
        """Return the repairs of V-fold, legs and plane."""
        return {**PLANE_MAKERS, **V_FOLD_MAKERS}


def _read(f: Tables) -> VFoldBuilding:
    return VFoldBuilding(vfold_of(f))


V_FOLD: Final = Construction(
    tables={"vfold": VFOLD, **CARRIED}, known_by=("vfold",), shown="[vfold]", read=_read
)
