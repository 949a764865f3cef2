"""A drawn linkage, as the house asks of every construction."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from capture.arrays import Array
from compare.design.constructions.construction import Construction
from compare.design.constructions.drawn_linkage.drawn_checks import check_drawing
from compare.design.constructions.drawn_linkage.drawn_form import JOINTS, PANEL, Drawing, drawing_of
from compare.design.constructions.drawn_linkage.drawn_mechanism import mechanism_of_drawing
from compare.design.constructions.drawn_linkage.drawn_pieces import cut_drawn
from compare.design.constructions.leg_and_plane.plane_faults import plane_faults
from compare.design.constructions.leg_and_plane.plane_moves import PLANE_MAKERS
from compare.design.constructions.parallel_fold.fold_faults import fold_faults, foot_faults
from compare.design.constructions.parallel_fold.fold_moves import FOLD_MAKERS
from compare.design.craft.bench import Makers
from compare.design.craft.fault import Fault
from compare.design.design_facts import Fact
from compare.design.linkage.mechanism import Mechanism
from compare.design.linkage.pose import Pose
from compare.design.pieces.pieces import Pieces
from compare.design.spec.parts import Base
from compare.design.spec.spec import Spec
from compare.design.spec.spec_tables import Tables
from compare.vocabulary import parsed


@dataclass(frozen=True, slots=True)
class DrawnBuilding:
    """A linkage given by its joints and panels; nothing is known of its trade terms."""

    drawing: Drawing

    def mechanism(self, base: Base) -> Mechanism:
        """Return the linkage."""
        return mechanism_of_drawing(self.drawing, base.opening_deg)

    def check(self, spec: Spec) -> None:
        """Refuse a drawing that contradicts its pages."""
        check_drawing(spec, self.drawing)

    def oblique_halves(self) -> Mapping[str, float]:
        """Return nothing: what is meant is not known."""
        return {}

    def disagreeing_legs(self, spec: Spec) -> tuple[Fact, ...]:
        """Return nothing: a linkage with panels to spare is refused."""
        return ()

    def remarks(self, spec: Spec, phi: Array, pose: Pose) -> tuple[Fact, ...]:
        """Return nothing."""
        return ()

    def key_of(self, name: str) -> tuple[str, str] | None:
        """Return nothing: a length follows from the places of two joints."""
        return None

    def feet_beside_spine(self) -> tuple[float, ...]:
        """Return nothing: which joints are feet is not known."""
        return ()

    def cut(self, spec: Spec, sheet: Pieces) -> None:
        """Add a strip for every panel."""
        cut_drawn(spec, sheet)

    def faults(self, names: Sequence[str]) -> tuple[Fault, ...]:
        """Return what goes wrong with folds and planes, where its author calls them so."""
        stages = dict.fromkeys(parsed(k).stage for k in names)
        whole = [f for k in stages for f in (*fold_faults(k, names), *plane_faults(k, names))]
        return (*foot_faults(names), *whole)

    def makers(self) -> Makers:
        """Return the repairs of what its author calls by the trade's names."""
        return {**FOLD_MAKERS, **PLANE_MAKERS}


def _read(f: Tables) -> DrawnBuilding:
    return DrawnBuilding(drawing_of(f))


DRAWN_LINKAGE: Final = Construction(
    tables={"joints": JOINTS, "panel": PANEL},
    known_by=("joints", "panel"),
    shown="[joints] and [[panel]]",
    read=_read,
)
