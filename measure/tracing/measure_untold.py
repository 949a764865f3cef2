"""The measurement of a dummy of which no design is known: traced, measured by the trace, and judged.

Two looks: the first with the trace as expected layout, the second with what the first one measured; what the
two do not agree on is not told. A half of the plane is told only if plane and leg were both found and the
loop they make can shut flat, as every dummy that works must.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from capture.arrays import Array
from capture.camera.view import View
from capture.photo import Photo
from capture.sheet.marker_sheet import MarkerSheet
from measure.edges.detectors import edges_of
from measure.guided.measure_profile import measure_profile
from measure.guided.page.apron_marks import marks_of
from measure.joints.by_hand import HandPoint
from measure.layout import Card, Layout, Role
from measure.measure_errors import MeasureError, PointsError
from measure.measuring_plane import plane_of
from measure.part_names import part_name
from measure.profile import Profile
from measure.reasons import Note, Noted
from measure.region import search_region
from measure.scene import Scene
from measure.sides import SIDES
from measure.tracing.confirm_traced import TUNED as CONFIRM
from measure.tracing.confirm_traced import agreed, fold_gap_mm, page_slant_deg, sound_part
from measure.tracing.numbered_panels import numbered
from measure.tracing.trace_dummy import Traced, known_pages, stripes_in, trace


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Untold:
    """A dummy measured without a design.

    Attributes
    ----------
    traced : topology and names; its lengths are those that may be told.
    profile : joints and panels, measured.
    notes : what could not be made out.
    """

    traced: Traced
    profile: Profile
    notes: tuple[Note, ...]


def measure_untold(
    photo: Photo,
    view: View,
    sheet: MarkerSheet,
    card: Card,
    *,
    arch: bool,
    bottom_closed: bool = False,
    standoff_mm: float = 0.0,
    standoff_err_mm: float = 0.5,
    blur_px: float = 0.9,
    hand: Sequence[HandPoint] = (),
    numbers: bool = True,
) -> Untold:
    """Trace and measure a dummy in a photo.

    Parameters
    ----------
    card : what is assumed of the card.
    numbers : whether panels that make no construction with a name are measured by plain numbers.
    photo, view, sheet, arch, bottom_closed, standoff_mm, standoff_err_mm, blur_px, hand : see
        `measure.guided.measure_profile.measure_profile`.

    Raises
    ------
    MeasureError
        If no dummy can be made out, or what was traced is not confirmed.
    """
    region = search_region(view, sheet, standoff_mm, arch=arch, bottom_closed=bottom_closed)
    plane = plane_of(photo, view, standoff_mm, region)
    scene = Scene(
        edges=edges_of(plane),
        layout=Layout.of_nothing(card),
        region=region,
        blur_px=blur_px,
        marks=marks_of(view, standoff_mm),
    )
    stripes = stripes_in(scene, sheet)

    def look(by: Traced) -> Profile:
        unseen = by.layout.free_ends(Role.PAGE)
        seeds = {n: at for n, at in by.at_mm.items() if n not in unseen}
        return measure_profile(
            photo,
            view,
            by.layout,
            sheet,
            arch=arch,
            bottom_closed=bottom_closed,
            standoff_mm=standoff_mm,
            standoff_err_mm=standoff_err_mm,
            blur_px=blur_px,
            hand=hand,
            seeds=seeds,
        )

    why = "no two strips meet in a ridge over a page"
    traced = trace(stripes, scene)
    if traced is not None:
        try:
            return _construction(traced, look, plane.eye_mm, page_sure=scene.marks is not None)
        except _NotConfirmedError as err:
            why = str(err)
    traced = numbered(stripes, region.table_mm, plane.eye_mm, card, known_pages(scene)) if numbers else None
    if traced is not None:
        plain = _plain(traced, look)
        if plain is not None:
            return plain
    raise MeasureError(
        f"{photo.name}: no dummy could be traced: {why}; take the photo against a plain, darker background "
        "with soft light, or write a spec and use check"
    )


Look = Callable[[Traced], Profile]


class _NotConfirmedError(MeasureError):
    """What was traced is not what a closer look shows; its text is a reason, no sentence."""


def _construction(traced: Traced, look: Look, eye_mm: Array, *, page_sure: bool = False) -> Untold:
    """Measure a dummy with a parallel fold as traced; `page_sure` if marks told its page.

    Raises
    ------
    _NotConfirmedError : what of the trace is not confirmed.
    """
    try:
        first = look(traced)
        # What the pen forgot hides a panel of an inked dummy; that speaks against none of the others.
        sound, notes = (traced, []) if first.inked else sound_part(traced, first, eye_mm)
        second = look(sound.moved(first))
    except PointsError:
        raise
    except MeasureError as err:
        raise _NotConfirmedError("what was traced was not confirmed on a closer look") from err
    if first.inked and not (second.inked and len(second.joints) >= len(first.joints)):
        first, second = second, first
    sound, more = sound_part(sound, second, eye_mm)
    gap = fold_gap_mm(second)
    if gap > CONFIRM.closing_mm:
        raise _NotConfirmedError(f"its two sides differ by {gap:.0f} mm, so a page was misread")
    if not page_sure and sound.layout.lies_flat:
        slant = page_slant_deg(sound.layout, second)
        if slant > CONFIRM.slant_deg:
            raise _NotConfirmedError(
                f"its feet slant by {slant:.1f} degrees against the sheet, so some are misread"
            )
    profile, told = agreed(sound, first, second, page_sure=page_sure)
    found = {p.name for p in profile.panels if p.found}
    lost = [p.side for p in sound.layout.panels if p.role is Role.FOLD and p.name not in found]
    # Where the page is known, one side of the fold is enough.
    if len(lost) > (1 if page_sure else 0):
        raise _NotConfirmedError(f"the {lost[0]} side of its fold was not confirmed")
    innermost = (part_name("leg top", s, n) for s in SIDES for n in (0, 1))
    if not any(top in profile.joints for top in innermost):
        raise _NotConfirmedError("no half of a plane with a leg was confirmed")
    upper = [Note(kind=Noted.UPPER_STAGE)] if sound.upper else []
    return Untold(traced=sound, profile=profile, notes=tuple(dict.fromkeys((*upper, *notes, *more, *told))))


def _plain(traced: Traced, look: Look) -> Untold | None:
    """Measure numbered panels; None unless two standing ones and what they carry are confirmed twice."""
    try:
        first = look(traced)
        second = look(traced.moved(first))
    except PointsError:
        raise
    except MeasureError:
        return None
    profile, told = agreed(traced, first, second)
    pages = {p.name for p in traced.layout.panels if p.role is Role.PAGE}
    found = [p.name for p in profile.panels if p.found and p.name not in pages]
    if len(found) < 3 or len(profile.joints) < 4:
        return None
    return Untold(traced=traced, profile=profile, notes=(Note(kind=Noted.UNNAMED), *told))
