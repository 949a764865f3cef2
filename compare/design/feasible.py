"""Can the design be built? Feet on the page, loops that assemble, sums that close."""

from dataclasses import replace
from typing import Final

import numpy as np

from compare.design.linkage import binding_angle, closed_reach, closing_sums, solve
from compare.design.spec import Spec
from compare.errors import SpecError

CLOSING_SLACK: Final = 0.05  # mm; a spec is written to a tenth at best, so less is rounding of the drawing


def _fail(spec: Spec, table: str, key: str, text: str) -> SpecError:
    return SpecError(f"{spec.source.where(table, key)}: {text}")


def _check_feet(spec: Spec) -> None:
    """Feet inside the page and not on top of each other; the leg's top inside the plane."""
    least = 2 * spec.card.thickness
    for side in ("left", "right"):
        foot: float = getattr(spec.fold, f"foot_{side}")
        page: float = getattr(spec.base, f"page_{side}")
        if foot >= page:
            raise _fail(
                spec, "fold", f"foot_{side}", f"the foot at {foot:g} mm lies beyond the page ({page:g} mm)"
            )
        half = spec.half(side)
        if half is None:
            continue
        if half.page_spacing < least:
            raise _fail(
                spec,
                side,
                "page_spacing",
                f"{half.page_spacing:g} mm: the leg's foot would lie on the fold's foot",
            )
        if foot + half.page_spacing >= page:
            raise _fail(
                spec,
                side,
                "page_spacing",
                f"the leg's foot at {foot:g} + {half.page_spacing:g} = {foot + half.page_spacing:g} mm "
                f"lies beyond the page ({page:g} mm)",
            )
        width: float = getattr(spec.plane, side)
        if half.plane_spacing > width:
            raise _fail(
                spec,
                side,
                "plane_spacing",
                f"the leg's top at {half.plane_spacing:g} mm lies beyond the plane's edge "
                f"([plane] {side} = {width:g} mm)",
            )


def _check_assembly(spec: Spec) -> None:
    """Refuse loops that do not close at the stated opening, above the page."""
    phi = np.radians(spec.base.opening_deg)
    pose = solve(spec.lengths(), phi)
    fold = spec.fold
    across = float(np.hypot(*(pose.joints["inner foot right"] - pose.joints["inner foot left"])))
    at = f"at {spec.base.opening_deg:g} degrees"
    if fold.left + fold.right <= across:
        raise _fail(
            spec,
            "fold",
            "left",
            f"sides of {fold.left:g} and {fold.right:g} mm cannot reach between feet {across:.4g} mm apart "
            f"{at}; lengthen the fold or bring its feet nearer to the spine",
        )
    if not np.all(np.isfinite(pose.joints["ridge"])):
        raise _fail(
            spec,
            "fold",
            "left",
            f"sides of {fold.left:g} and {fold.right:g} mm cannot meet over feet {across:.4g} mm apart {at}: "
            "they differ by more than the feet are apart",
        )
    for side in ("left", "right"):
        if pose.fold_angle[side] <= 0:
            raise _fail(spec, "fold", side, f"this side would have to lie below the page {at}")
        half = spec.half(side)
        if half is None:
            continue
        sums = (
            f"fold {getattr(fold, side):g}, page spacing {half.page_spacing:g}, leg {half.leg:g}, "
            f"plane spacing {half.plane_spacing:g} mm"
        )
        if not np.isfinite(pose.lean[side]):
            raise _fail(spec, side, "", f"the loop cannot be assembled {at}: {sums}")
        if pose.leg_angle[side] <= 0:
            raise _fail(spec, side, "leg", f"the leg would have to lie below the page {at}: {sums}")


def _warnings(spec: Spec) -> tuple[str, ...]:
    """Things the design will do that its author may not want."""
    out: list[str] = []
    lengths = spec.lengths()
    sums = closing_sums(lengths)
    if abs(sums["feet"]) > CLOSING_SLACK:
        out.append(
            "the design does not shut flat: foot + fold is "
            f"{lengths['foot left'] + lengths['fold left']:.4g} mm left and "
            f"{lengths['foot right'] + lengths['fold right']:.4g} mm right; they should be equal"
        )
    for side in spec.sides:
        if abs(sums[side]) > CLOSING_SLACK:
            out.append(
                f"the design does not shut flat: {side}, fold + plane spacing is "
                f"{lengths[f'fold {side}'] + lengths[f'plane spacing {side}']:.4g} mm and page spacing + "
                f"leg is {lengths[f'page spacing {side}'] + lengths[f'leg {side}']:.4g} mm; "
                "they should be equal"
            )
        lean = float(np.degrees(solve(lengths, np.radians(spec.base.opening_deg)).lean[side]))
        if abs(lean) > 0.05:
            out.append(
                f"the {side} half leans {lean:+.1f} degrees by design at {spec.base.opening_deg:g} degrees"
            )
    for side in ("left", "right"):
        spare = getattr(spec.base, f"page_{side}") - float(closed_reach(lengths, side))
        if spare < 0:
            out.append(f"shut, the design sticks out {-spare:.1f} mm beyond the {side} fore edge")
        elif spare < spec.tolerance.clearance:
            out.append(f"shut, the design stays only {spare:.1f} mm inside the {side} fore edge")
    if out and out[0].startswith("the design does not shut"):
        phi = binding_angle(lengths, np.radians(spec.base.opening_deg))
        if phi > 0:
            out.append(f"card first jams at an opening of {np.degrees(phi):.0f} degrees")
    return tuple(out)


def checked(spec: Spec) -> Spec:
    """Return the spec with its design warnings.

    Raises
    ------
    SpecError : a foot beyond the page, feet on each other, or a loop that cannot be assembled.
    """
    _check_feet(spec)
    _check_assembly(spec)
    return replace(spec, warnings=_warnings(spec))
