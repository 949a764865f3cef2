"""The panels of a drawn linkage as strips with their joints marked."""

import numpy as np

from compare.design.pieces.piece_facts import JointsAt
from compare.design.pieces.pieces import GLUE, Pieces
from compare.design.spec.spec import Spec
from compare.vocabulary import parsed


def cut_drawn(spec: Spec, sheet: Pieces) -> None:
    """Add the panels of a drawn linkage as strips with their joints marked."""
    n, ends = spec.mechanism.lengths, spec.mechanism.ends
    for panel in spec.mechanism.panels:
        gaps = [
            next(n[k] for k, e in ends.items() if e == (a, b))
            for a, b in zip(panel.joints, panel.joints[1:], strict=False)
        ]
        at = np.concatenate([[0.0], np.cumsum(gaps)])
        is_page = parsed(panel.name).is_page
        tabs = (0.0, 0.0) if is_page else (sheet.tab, 0.0 if panel.free_end else sheet.tab)
        parts = [(float(g), GLUE) for g in gaps]
        joints = tuple((float(x), j) for x, j in zip(at, panel.joints, strict=True))
        sheet.strip(panel.name, parts, tabs, (JointsAt(joints),))
