"""In which order a dummy is glued, step by step."""

from collections.abc import Sequence
from dataclasses import dataclass

from compare.design.pieces.pieces import VALLEY, Piece
from compare.design.spec.spec import Spec
from compare.tell.words.plain_words import listed
from compare.vocabulary import Kind, parsed


@dataclass(frozen=True, slots=True)
class Step:
    """One step: what to do, the panels it deals with, and lines between points in space that stand for it."""

    text: str
    panels: tuple[str, ...] = ()
    lines: tuple[tuple[str, str], ...] = ()


def steps_of(spec: Spec, pieces: Sequence[Piece]) -> tuple[Step, ...]:
    """Return the steps from cutting to shutting it for the first time."""
    panels = [p.name for p in spec.mechanism.panels]
    pages = tuple(p for p in panels if parsed(p).is_page)
    out = [
        Step("Score every fold line, then cut the pieces out. Fold each line once and open it again."),
        Step("Lay the pages edge to edge and join them along the spine with tape on the underside.", pages),
    ]
    known = {Kind.PAGE, Kind.FOLD, Kind.LEG, Kind.SUPPORT, Kind.PLANE, Kind.FLAP, Kind.STRAP, Kind.VFOLD}
    if any(parsed(p).kind not in known for p in panels):
        rest = tuple(p for p in panels if p not in pages)
        out.append(Step("Hinge the strips to each other and to the pages as the drawing shows.", rest))
    else:
        for stage in dict.fromkeys(parsed(p).stage for p in panels):
            out += _stage(spec, [p for p in panels if parsed(p).stage == stage], stage)
    if any(s.kind == VALLEY for p in pieces for s in p.seams):
        text = "A tab that is folded along a valley line points away from the spine: there is no room inside."
        out.insert(2, Step(text))
    out.append(Step("Let the glue dry with the spread open. Then shut it slowly; stop where it binds."))
    return tuple(out)


def _stage(spec: Spec, panels: Sequence[str], stage: int) -> list[Step]:
    """Return the steps of what stands on the pages, or on the plane below."""

    def of(*kinds: Kind) -> tuple[str, ...]:
        return tuple(p for p in panels if parsed(p).kind in kinds)

    ground = "pages" if stage == 1 else "plane below"
    fold, legs, supports, planes = of(Kind.FOLD), of(Kind.LEG), of(Kind.SUPPORT), of(Kind.PLANE)
    out = []
    at = f"at their lines on the {ground}, all near ends flush"
    if of(Kind.VFOLD):
        text = "Glue the V-fold along its lines on the pages: point on the spine, open towards the near end."
        out.append(Step(text, of(Kind.VFOLD)))
    if spec.mechanism.glued_at:
        text = "Glue the two V-folds along their lines on the pages, their points on the spine."
        sides = tuple((p[1], p[2]) for p in spec.mechanism.outlines if len(p) == 3)
        out.append(Step(text, lines=sides[:2]))
    if len(fold) == 2:
        text = f"Glue the feet of the {parsed(fold[0]).sideless} {at}; its ridge stands up over the "
        out.append(Step(text + ("spine." if stage == 1 else "crease."), fold))
    elif fold:
        out.append(Step(f"Glue the feet of {listed((*fold, *supports))} {at}.", (*fold, *supports)))
    if planes:
        if spec.mechanism.glued_at:
            text = "Glue the plane's crease to the tip of the far V-fold only; it lies loose on the near one."
        elif of(Kind.VFOLD):
            text = "Glue the V-fold's top tabs along their lines under the plane, the crease over its tip."
        elif supports:
            text = "Glue the tops of fold and support at their lines under the plane."
        else:
            name = parsed(planes[0]).sideless
            text = f"Glue the crease of the {name} on the ridge, or hinge it there with paper."
        out.append(Step(text, planes))
    if legs:
        text = f"Glue the feet of {listed(legs)} {at}, then their tops at their lines under the plane."
        out.append(Step(text, legs))
    flaps, straps = of(Kind.FLAP), of(Kind.STRAP)
    if flaps:
        text = (
            f"Glue the hinge of {listed(flaps)} on the page; join {listed(straps)} to its free end "
            "and to the plane's outer edge."
        )
        out.append(Step(text, (*flaps, *straps)))
    return out
