"""All constructions: the one place to add another."""

from collections.abc import Mapping
from typing import Final

from compare.design.constructions.construction import Construction
from compare.design.constructions.drawn_linkage.drawn_building import DRAWN_LINKAGE
from compare.design.constructions.pillar.pillar_building import PILLAR
from compare.design.constructions.stages.stages_building import STAGES
from compare.design.constructions.v_fold.v_fold_building import V_FOLD
from compare.design.spec.forms import BASE, CARD, TOLERANCE, Form, merged
from compare.design.spec.spec import Building
from compare.design.spec.spec_tables import Tables

CONSTRUCTIONS: Final[tuple[Construction, ...]] = (STAGES, V_FOLD, PILLAR, DRAWN_LINKAGE)
FORMS: Final[Mapping[str, Form]] = merged(
    ({"base": BASE, "card": CARD}, *(c.tables for c in CONSTRUCTIONS), {"tolerance": TOLERANCE})
)
"""All tables a spec may have, in their usual order."""


def building_of(f: Tables) -> Building:
    """Return what a file builds.

    Raises
    ------
    SpecError : tables of two constructions, or tables that are missing or do not go together.
    """
    found = next((c for c in CONSTRUCTIONS if any(k in f.data for k in c.known_by)), None)
    if found is None:
        found = next(c for c in CONSTRUCTIONS if not c.known_by)
    common = {"base", "card", "tolerance"}
    for table in FORMS:
        if table in f.data and table not in found.tables and table not in common:
            raise f.fail(table, "", f"a spread is built on {found.shown} or on [{table}], not on both")
    return found.read(f)
