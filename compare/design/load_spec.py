"""Reading a spec file: from TOML to a checked design."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from capture.files import FileBytes
from compare.design.constructions.registry import FORMS, building_of
from compare.design.spec.common_tables import base_of, card_of, tolerance_of
from compare.design.spec.source import Source
from compare.design.spec.spec import Spec
from compare.design.spec.spec_file import read_form
from compare.design.spec.spec_tables import Tables
from compare.design.study.feasible import check_buildable


def load_spec(file: str | Path | FileBytes) -> Spec:
    """Read a design spec.

    Parameters
    ----------
    file : a TOML file (`foldgauge help spec` tells its keys), or its bytes.

    Returns
    -------
    Spec, in mm, checked: its loops can be assembled at the stated opening.

    Raises
    ------
    SpecError : one line with file, line, key, what came and what is allowed.
    """
    spec = spec_of_form(*read_form(file, FORMS))
    check_buildable(spec)
    return spec


def spec_of_form(data: Mapping[str, Any], source: Source) -> Spec:
    """Turn the tables of a checked form into a spec; geometry not checked yet.

    Raises
    ------
    SpecError : tables that belong together are missing or do not go together.
    """
    f = Tables(data, source)
    return Spec(
        title=data.get("title", ""),
        units=data.get("units", "mm"),
        base=base_of(f),
        card=card_of(f),
        tolerance=tolerance_of(f),
        source=source,
        building=building_of(f),
    )
