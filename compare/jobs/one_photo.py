"""One photo: read, its sheet found, its view solved, the dummy in it measured."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from capture.advice import advise
from capture.camera.calibrated_camera import Camera
from capture.camera.view import View
from capture.errors import FoldgaugeError
from capture.photo import Photo
from capture.sight.sighting import Sighting
from capture.solved import solve_photo
from compare.design.expected_layout import layout_of
from compare.design.spec.spec import Spec
from compare.quantities.common_scale import common_scale
from compare.quantities.measured import Measured, measured_of
from measure.guided.measure_profile import measure_profile
from measure.joints.by_hand import HandPoint
from measure.layout import Layout
from measure.profile import Profile

Use = Literal["auto", "arch", "backdrop"]
Placing = tuple[str, float, float, tuple[str, ...]]
"""Use, standoff and its standard uncertainty (mm), notes on what was assumed."""

RULED_DEPTH_SD = 0.5  # mm, standoff given by hand: a depth read with a ruler; common practice, no source
SPEC_DEPTH_SD = 1.0  # mm, standoff taken from the spec: the sheet never stands quite flush behind


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Shot:
    """One photo measured.

    Attributes
    ----------
    photo, sighting, view, profile : what was read and what was solved from it.
    use : "arch" or "backdrop", as given or as seen.
    standoff_mm, standoff_err_mm : how far in front of the sheet the near end stands, and its uncertainty.
    measured : the profile's named lengths and angles.
    notes : what the user should know about this photo and what was assumed.
    """

    photo: Photo
    sighting: Sighting
    view: View
    use: str
    standoff_mm: float
    standoff_err_mm: float
    profile: Profile
    measured: Measured
    notes: tuple[str, ...]


def placing(spec: Spec, sighting: Sighting, use: Use, standoff_mm: float | None) -> Placing:
    """Decide how the sheet was used and where the near end stands.

    Returns
    -------
    use ("arch" or "backdrop"), standoff and its standard uncertainty (mm), notes on what was assumed.

    Raises
    ------
    FoldgaugeError : the options contradict each other or the photo.
    """
    notes: list[str] = []
    decided: str = use
    if use == "auto":
        decided = "backdrop" if sighting.bottom_band_seen or standoff_mm else "arch"
        why = (
            "its lower band is in the picture"
            if sighting.bottom_band_seen
            else "no lower band is in the picture"
        )
        if sighting.bottom_band_seen or not standoff_mm:
            notes.append(f"The sheet is taken for {_use_words(decided)}: {why}. If that is wrong, say --use.")
    if decided == "arch":
        if standoff_mm:
            raise FoldgaugeError("--standoff belongs to backdrop use; an arch stands flush (standoff 0)")
        return decided, 0.0, RULED_DEPTH_SD, tuple(notes)
    if standoff_mm is not None:
        return decided, standoff_mm, RULED_DEPTH_SD, tuple(notes)
    if spec.base.depth is not None:
        notes.append(
            f"The near end is taken to stand {spec.base.depth:g} mm in front of the sheet (base depth)."
        )
        return decided, spec.base.depth, SPEC_DEPTH_SD, tuple(notes)
    depth = spec.card.strip_depth
    notes.append(f"The near end is taken to stand {depth:g} mm in front of the sheet (strip depth).")
    return decided, depth, SPEC_DEPTH_SD, tuple(notes)


def _use_words(use: str) -> str:
    return "an arch (flush with the near end)" if use == "arch" else "a backdrop (behind the dummy)"


def _require_plausible_scale(
    photo: Photo, measured: Measured, spec: Spec, use: str, standoff_mm: float
) -> None:
    """Refuse a result in which everything is too large or too small together: the set-up is wrong."""
    common = common_scale(measured, spec)
    if common is None:
        return
    where = (
        "the sheet stood behind the dummy (--use backdrop)"
        if use == "arch"
        else f"the near end stood not {standoff_mm:g} mm in front of the sheet (--standoff)"
    )
    raise FoldgaugeError(
        f"{photo.name}: {common.words()}, so it is not the dummy: either {where}, or the sheet was not "
        "printed at 100 % (--bars), or this is the spec of another dummy"
    )


def _measured(
    photo: Photo,
    view: View,
    sighting: Sighting,
    spec: Spec,
    way: Placing,
    layout: Layout,
    hand: Sequence[HandPoint],
) -> Shot:
    """Measure under one assumption about the sheet."""
    use, standoff_mm, standoff_err_mm, notes = way
    apron = view.apron
    if apron is not None:  # it hangs from the near end itself, and so tells where that stands
        view = replace(view, z_gradient=apron.standoff_gradient)
        standoff_mm, standoff_err_mm = apron.standoff_mm, apron.standoff_rest_sd
        notes = (*notes, "An apron hangs from the base: page line, spine and near end are taken from it.")
    profile = measure_profile(
        photo,
        view,
        layout,
        sighting.sheet,
        arch=use == "arch",
        bottom_closed=sighting.bottom_band_seen,
        standoff_mm=standoff_mm,
        standoff_err_mm=standoff_err_mm,
        blur_px=sighting.blur_px,
        hand=hand,
    )
    measured = measured_of(profile, spec)
    _require_plausible_scale(photo, measured, spec, use, standoff_mm)
    return Shot(
        photo=photo,
        sighting=sighting,
        view=view,
        use=use,
        standoff_mm=standoff_mm,
        standoff_err_mm=standoff_err_mm,
        profile=profile,
        measured=measured,
        notes=(
            *notes,
            *view.notes,
            *(a.line for a in advise(view, sighting) if a.topic != "print scale"),
            *profile.notes,
        ),
    )


def _ways(spec: Spec, sighting: Sighting, use: Use, standoff_mm: float | None) -> list[Placing]:
    """Ways to take the sheet, likeliest first; a second one only where nobody said which.

    An uncut lower band can also belong to a window cut without it, the dummy standing on a book; and the
    band of an uncut sheet can be hidden by the dummy in front of it.
    """
    first = placing(spec, sighting, use, standoff_mm)
    if use != "auto" or standoff_mm is not None:
        return [first]
    other: Use = "arch" if first[0] == "backdrop" else "backdrop"
    kind, standoff, err, notes = placing(spec, sighting, other, None)
    why = (
        f"The sheet is taken for {_use_words(other)}: as {_use_words(first[0])} the dummy made no sense. "
        f"If that is wrong, say --use {first[0]}."
    )
    return [first, (kind, standoff, err, (why, *notes))]


def take_shot(
    path: str | Path,
    spec: Spec,
    *,
    use: Use = "auto",
    standoff_mm: float | None = None,
    bars_mm: Sequence[float] | None = None,
    printer_path: Path | None = None,
    camera: Camera | None = None,
    openings_deg: Sequence[float] = (),
    lengths_mm: Mapping[str, float] | None = None,
    hand: Sequence[HandPoint] = (),
) -> Shot:
    """Measure the dummy in one photo, under the first way of taking the sheet that makes sense.

    Parameters
    ----------
    path : the photo.
    spec : the design.
    use, standoff_mm, bars_mm, printer_path : see `compare.jobs.check_dummy.check`.
    camera : a calibrated camera; None = what the photo says of its lens.
    openings_deg : opening angles besides the design's own at which this photo may show the dummy.
    lengths_mm : lengths of this dummy known already, from another photo.
    hand : joints pointed at by hand in this photo.

    Raises
    ------
    FoldgaugeError : no way makes sense; the error of the first one is told.
    """
    solved = solve_photo(Path(path), bars_mm=bars_mm, printer=printer_path, camera=camera)
    photo, sighting, view = solved.photo, solved.sighting, solved.view
    layout = layout_of(spec, openings_deg, lengths_mm)
    problem: FoldgaugeError | None = None
    for way in _ways(spec, sighting, use, standoff_mm):
        try:
            return _measured(photo, view, sighting, spec, way, layout, hand)
        except FoldgaugeError as err:
            problem = problem or err
    assert problem is not None
    raise problem
