"""Parallel folds one on the other, as the house asks of every construction."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from capture.arrays import Array
from compare.compare_errors import SpecError
from compare.design.constructions.construction import Construction
from compare.design.constructions.flap.flap_form import flap_key
from compare.design.constructions.flap.flap_moves import FLAP_MAKERS
from compare.design.constructions.leg_and_plane.leg_form import carried_key
from compare.design.constructions.leg_and_plane.plane_faults import plane_faults
from compare.design.constructions.leg_and_plane.plane_moves import PLANE_MAKERS
from compare.design.constructions.parallel_fold.fold_checks import check_assembly, check_side
from compare.design.constructions.parallel_fold.fold_faults import fold_faults, foot_faults
from compare.design.constructions.parallel_fold.fold_form import ON_BASE, ON_PLANE, Stage, stage_of
from compare.design.constructions.parallel_fold.fold_moves import FOLD_MAKERS
from compare.design.constructions.parallel_fold.fold_pieces import cut_pages, cut_stage
from compare.design.constructions.stages.stages_mechanism import mechanism_of_stages
from compare.design.constructions.stages.stages_soundness import (
    disagreeing_legs,
    oblique_halves,
    redundant_legs,
)
from compare.design.constructions.support.support_form import support_key
from compare.design.constructions.support.support_moves import SUPPORT_MAKERS
from compare.design.craft.bench import Makers
from compare.design.craft.fault import Fault
from compare.design.design_facts import Fact
from compare.design.linkage.mechanism import Mechanism
from compare.design.linkage.pose import Pose
from compare.design.pieces.pieces import Pieces
from compare.design.spec.forms import Form
from compare.design.spec.parts import Base
from compare.design.spec.spec import Spec
from compare.design.spec.spec_tables import Tables
from compare.design.study.contact import floor_angles
from compare.vocabulary import Kind, parsed
from measure.sides import SIDES

MOST_STAGES: Final = 8  # on the planes below; each needs feet inside the plane it stands on
STAGE: Final = Form(
    "a further construction on the plane below; its crease is the spine",
    {},
    ON_PLANE,
    many=True,
    most=MOST_STAGES,
)


def table_prefix(stage: int) -> str:
    """Return what stands before the tables of a stage (0 = the fold on the base): "" or "stage[1]."."""
    return f"stage[{stage}]." if stage else ""


@dataclass(frozen=True, slots=True)
class Stages:
    """A parallel fold on the base, and each further one on the plane of the one below."""

    stages: tuple[Stage, ...]

    def mechanism(self, base: Base) -> Mechanism:
        """Return the linkage."""
        return mechanism_of_stages(base, self.stages)

    def check(self, spec: Spec) -> None:
        """Refuse feet and tops beyond what they stand on, and loops that cannot be assembled."""
        below, room = "page", {s: spec.base.page(s) for s in SIDES}
        for k, c in enumerate(self.stages):
            for side in SIDES:
                check_side(spec, table_prefix(k), c, side, room[side], below)
            below, room = "plane below", {s: c.plane.half(s) for s in SIDES}
        pose = spec.mechanism.solve({}, spec.opening)
        angles = {k: float(v) for k, v in floor_angles(spec.mechanism, pose).items()}
        for k, c in enumerate(self.stages):
            check_assembly(spec, table_prefix(k), k + 1, c, pose, angles)

    def oblique_halves(self) -> Mapping[str, float]:
        """Return the halves drawn oblique on purpose."""
        return oblique_halves(self.stages)

    def disagreeing_legs(self, spec: Spec) -> tuple[Fact, ...]:
        """Return the legs that do not agree with the others of their half."""
        return disagreeing_legs(spec, self.stages)

    def remarks(self, spec: Spec, phi: Array, pose: Pose) -> tuple[Fact, ...]:
        """Return the halves with more legs than they need."""
        return redundant_legs(self.stages)

    def key_of(self, name: str) -> tuple[str, str] | None:
        """Return table and key of a length."""
        n = parsed(name)
        if n.kind in (Kind.FOLD, Kind.FOOT):
            found: tuple[str, str] | None = ("fold", n.side if n.kind == Kind.FOLD else f"foot_{n.side}")
        else:
            found = support_key(n) or flap_key(n) or carried_key(name)
        return found and (f"{table_prefix(n.stage - 1)}{found[0]}", found[1])

    def feet_beside_spine(self) -> tuple[float, ...]:
        """Return spine (or crease) to foot of every support and fold."""
        feet = [f for c in self.stages for f in (*(s.foot for s in c.supports.values()), *_feet(c))]
        return tuple(feet)

    def cut(self, spec: Spec, sheet: Pieces) -> None:
        """Add the pages and the pieces of every stage."""
        cut_pages(spec, self.stages[0], sheet)
        for k, c in enumerate(self.stages):
            above = self.stages[k + 1] if k + 1 < len(self.stages) else None
            cut_stage(sheet, c, k + 1, above)

    def faults(self, names: Sequence[str]) -> tuple[Fault, ...]:
        """Return what goes wrong with the folds and planes of all stages."""
        numbers = range(1, len(self.stages) + 1)
        whole = [f for k in numbers for f in (*fold_faults(k, names), *plane_faults(k, names))]
        return (*foot_faults(names), *whole)

    def makers(self) -> Makers:
        """Return the repairs of folds, planes, supports and flaps."""
        return {**FOLD_MAKERS, **PLANE_MAKERS, **SUPPORT_MAKERS, **FLAP_MAKERS}


def _feet(c: Stage) -> tuple[float, ...]:
    return tuple(f for f in (c.fold.foot_left, c.fold.foot_right) if np.isfinite(f))


def _read(f: Tables) -> Stages:
    out = [stage_of(f, "", f.data)]
    for i, row in enumerate(f.data.get("stage", []), start=1):
        below = out[-1].plane
        if below.left == 0 or below.right == 0:
            raise SpecError(
                f"{f.source.where(f'stage[{i}]')}: a stage stands on both halves of the plane below, "
                "which here has only one"
            )
        out.append(stage_of(f, f"stage[{i}].", row))
    return Stages(tuple(out))


STAGES: Final = Construction(tables={**ON_BASE, "stage": STAGE}, known_by=(), shown="[fold]", read=_read)
