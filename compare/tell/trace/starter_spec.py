"""A starter spec from a traced dummy: its lengths as built, in trade terms, for the builder to put right."""

import math
from pathlib import Path

from capture.errors import Option
from compare.compare_errors import OutputError, SpecError
from compare.design.load_spec import load_spec
from compare.jobs.measure_dummy import Tracing
from compare.tell.result_files import DRAFT, write_whole
from compare.vocabulary import Kind, named, parsed
from measure.layout import Role
from measure.sides import SIDES

SPARE_MM = 6.0  # a page that is not seen is drafted so much wider than the shut dummy reaches
LIP_MM = 3.0  # so is a plane, beyond its outermost leg


def draft_text(tracing: Tracing) -> str:
    """Return the TOML text of a starter spec.

    Lengths are as measured, to a tenth of a millimetre; what the photo does not show is filled in so that the
    spec holds together, and says so in a comment.
    """
    size = {f.name: f.value for f in tracing.lengths}
    flat = tracing.traced.layout.lies_flat
    opening = next((f.value for f in tracing.angles if f.name == "opening"), 180.0)
    feet = {s: size.get(named(Kind.FOOT, s), size.get(Kind.FEET, 0.0) / 2) for s in SIDES}
    halves = {s: _legs(tracing, s) for s in SIDES}
    plane: dict[str, tuple[float, bool]] = {}
    for side, legs in halves.items():
        if legs:
            seen = size.get(named(Kind.PLANE, side))
            widest = max(size[named(Kind.PLANE_SPACING, side, n)] for n in legs)
            plane[side] = (widest + LIP_MM, False) if seen is None else (max(seen, widest), True)
    reach = max(feet[s] + size[named(Kind.FOLD, s)] + (plane[s][0] if s in plane else 0.0) for s in SIDES)
    lines = [
        "# A starter spec, drafted by foldgauge from " + _comment(tracing.photo.name),
        "# Lengths are as built, measured to about a tenth of a millimetre: put in what you meant.",
        'title = ""',
        'units = "mm"',
        "",
        "[base]",
        f"page = {math.ceil(reach + SPARE_MM)}   # spine to fore edge; not measured: put in your own",
    ]
    if not tracing.placing.arch:
        lines.append(f"depth = {tracing.placing.standoff_mm:g}   # the standoff given")
    if not flat:
        lines.append(f"opening = {opening:.1f}   # as in the photo")
    lines += [
        f"thickness = {tracing.card.base_mm:g}",
        "",
        "[card]",
        f"thickness = {tracing.card.card_mm:g}",
        f"strip_depth = {tracing.card.depth_mm:g}",
        "",
        "[fold]",
        *(f"{s} = {size[named(Kind.FOLD, s)]:.1f}" for s in SIDES),
    ]
    apart = named(Kind.FOOT, "left") in size
    guess = "" if apart else "   # the spine is not seen: half of what lies between the feet"
    lines += [f"foot_{s} = {feet[s]:.1f}{guess}" for s in SIDES]
    for side, legs in halves.items():
        for n in legs:
            lines += [
                "",
                f"[{side}]" if len(legs) == 1 else f"[[{side}.legs]]",
                f"leg = {size[named(Kind.LEG, side, n)]:.1f}",
                f"page_spacing = {size[named(Kind.PAGE_SPACING, side, n)]:.1f}",
                f"plane_spacing = {size[named(Kind.PLANE_SPACING, side, n)]:.1f}",
            ]
    lines += ["", "[plane]"]
    for side, (width, seen_edge) in plane.items():
        note = "" if seen_edge else "   # its outer edge is not seen: put in your own"
        lines.append(f"{side} = {width:.1f}{note}")
    return "\n".join(lines) + "\n"


def _legs(tracing: Tracing, side: str) -> list[int]:
    """Numbers of the legs on a side whose three lengths were measured: 0 for one, 1, 2 for several."""
    size = {f.name for f in tracing.lengths}
    panels = tracing.traced.layout.panels
    numbers = [parsed(p.name).number for p in panels if p.role is Role.LEG and p.side == side]
    kinds = (Kind.LEG, Kind.PAGE_SPACING, Kind.PLANE_SPACING)
    return [n for n in numbers if all(named(kind, side, n) in size for kind in kinds)]


def _comment(text: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in text)


def write_draft(tracing: Tracing, path: Path, *, replace: bool = False) -> None:
    """Write the starter spec; only if it is one that `check` accepts.

    Raises
    ------
    OutputError : it cannot be written, or what was traced does not make a spec.
    """
    if not tracing.traced.named:
        raise OutputError(
            f"no spec can be drafted from {tracing.photo.name}: no construction with a name was recognised; "
            "write one by hand, with the lengths shown without ",
            Option.DRAFT,
        )
    told = {f.name for f in tracing.lengths}
    if unseen := [k for k in (named(Kind.FOLD, side) for side in SIDES) if k not in told]:
        raise OutputError(
            f"no spec can be drafted from {tracing.photo.name}: {unseen[0]} was not measured; without ",
            Option.DRAFT,
            " all that was measured is shown",
        )
    text = draft_text(tracing)

    def make(temporary: Path) -> None:
        temporary.write_text(text, encoding="utf-8")
        try:
            load_spec(temporary)
        except SpecError as err:
            told = str(err).split(": ", 1)[-1]
            raise OutputError(
                f"no spec can be drafted from {tracing.photo.name}: {told}; without ",
                Option.DRAFT,
                " all that was measured is shown",
            ) from None

    write_whole(path, make, DRAFT, replace=replace)
