"""Whether a linkage given by its joints can be built."""

from typing import Final

import numpy as np

from compare.design.constructions.drawn_linkage.drawn_form import Drawing
from compare.design.spec.spec import Spec
from compare.vocabulary import Kind, named

DRAWN_MM: Final = 0.05  # a drawing is written to hundredths


def check_drawing(spec: Spec, drawing: Drawing) -> None:
    """Refuse a drawing that contradicts its pages.

    Raises
    ------
    SpecError : a joint that nothing runs through, off its page, or beyond the fore edge.
    """
    used = {j for p in drawing.panels for j in p.joints}
    for joint, (x, y) in drawing.joints.items():
        if joint not in used:
            raise spec.fail("joints", joint, "no [[panel]] runs through this joint")
        if joint == "spine" and np.hypot(x, y) > 0:
            raise spec.fail("joints", joint, "the spine is the origin: write [0, 0]")
    half = spec.opening / 2
    for side, sign in (("left", -1.0), ("right", 1.0)):
        panel = next(p for p in drawing.panels if p.name == named(Kind.PAGE, side))
        along = np.array([sign * np.sin(half), np.cos(half)])
        for joint in panel.joints:
            xy = np.array(drawing.joints[joint])
            off = xy - (xy @ along) * along
            if np.hypot(*off) > DRAWN_MM or xy @ along < 0:
                text = (
                    f"it lies {np.hypot(*off):.2f} mm off the {side} page as drawn at "
                    f"{spec.base.opening_deg:g} degrees ([base] opening)"
                )
                raise spec.fail("joints", joint, text)
        page, last = spec.base.page(side), panel.joints[-1]
        reach = float(np.hypot(*drawing.joints[last]))
        if reach > page + DRAWN_MM:
            text = f"it lies {reach:.4g} mm from the spine, beyond the page ({page:g} mm)"
            raise spec.fail("joints", last, text)
