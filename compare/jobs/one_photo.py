"""One photo: read, its sheet found, its view solved, the dummy in it measured."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from capture.advice import Advice, advise
from capture.camera.view import View
from capture.errors import FoldgaugeError, Option, SetupError
from capture.photo import Photo, PhotoSource
from capture.placing import Depth, NearEnd, Placing, placings, with_marks
from capture.setup import Setup
from capture.sight.sighting import Sighting
from capture.solved import Solved, solve_photo
from compare.design.expected_layout import layout_of
from compare.design.spec.spec import Spec
from compare.jobs.right_dummy import (
    SEVERAL,
    exchanged,
    lopsided,
    off_lengths,
    refuse_exchanged,
    require_this_design,
)
from compare.quantities.common_scale import common_scale
from compare.quantities.measured import Measured, measured_of, nominal_lengths
from measure.guided.measure_profile import measure_profile
from measure.joints.by_hand import HandPoint
from measure.layout import Layout
from measure.profile import Profile


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Shot:
    """One photo measured.

    Attributes
    ----------
    photo, sighting : what was read.
    placing : how the sheet was used, where the near end stands, and the view of both.
    profile : what was solved from it.
    measured : the profile's named lengths and angles.
    advice : what would make the photo better.
    """

    photo: Photo
    sighting: Sighting
    placing: Placing
    profile: Profile
    measured: Measured
    advice: tuple[Advice, ...]

    @property
    def view(self) -> View:
        """The photo's view."""
        return self.placing.view


def near_end_of(spec: Spec) -> NearEnd:
    """Return how far a dummy of this design stands before a sheet flush behind it."""
    if spec.base.depth is not None:
        return NearEnd(spec.base.depth - (spec.base.setback or 0.0), Depth.BASE)
    return NearEnd(spec.card.strip_depth, Depth.STRIPS)


def _require_plausible_scale(photo: Photo, measured: Measured, spec: Spec, placing: Placing) -> None:
    """Refuse a result in which everything is too large or too small together: the set-up is wrong."""
    common = common_scale(measured, spec)
    if common is None:
        return
    where = (
        ("the sheet stood behind the dummy (", Option.USE_BACKDROP, ")")
        if placing.arch
        else (
            f"the near end stood not {placing.standoff_mm:g} mm in front of the sheet (",
            Option.STANDOFF,
            ")",
        )
    )
    way = "long" if common.off > 0 else "short"
    raise SetupError(
        f"{photo.name}: every length comes out {100 * abs(common.off):.1f} % too {way}, so it is not the "
        "dummy: either ",
        *where,
        ", or the sheet was not printed at 100 % (",
        Option.BARS,
        "), or this is the spec of another dummy",
    )


def _profile(solved: Solved, placing: Placing, layout: Layout, hand: Sequence[HandPoint]) -> Profile:
    """Measure the near ends where they are taken to stand."""
    return measure_profile(
        solved.photo,
        placing.view,
        layout,
        solved.sighting.sheet,
        arch=placing.arch,
        bottom_closed=solved.sighting.bottom_band_seen,
        standoff_mm=placing.standoff_mm,
        standoff_err_mm=placing.standoff_err_mm,
        blur_px=solved.sighting.blur_px,
        hand=hand,
    )


def _measured(
    solved: Solved, spec: Spec, placing: Placing, layout: Layout, hand: Sequence[HandPoint]
) -> Shot:
    """Measure under one assumption about the sheet."""
    photo, sighting = solved.photo, solved.sighting
    placing = with_marks(placing)
    profile = _profile(solved, placing, layout, hand)
    measured = measured_of(profile, spec)
    _require_plausible_scale(photo, measured, spec, placing)
    require_this_design(photo.name, measured, spec)
    return Shot(
        photo=photo,
        sighting=sighting,
        placing=placing,
        profile=profile,
        measured=measured,
        advice=advise(placing.view, sighting),
    )


def take_shot(
    source: PhotoSource | Solved,
    spec: Spec,
    setup: Setup,
    *,
    openings_deg: Sequence[float] = (),
    lengths_mm: Mapping[str, float] | None = None,
    hand: Sequence[HandPoint] = (),
) -> Shot:
    """Measure the dummy in one photo, under the first way of taking the sheet that makes sense.

    Parameters
    ----------
    source : the photo, see `capture.photo.read_photo`; or one that is solved already.
    spec : the design.
    setup : how the photo was taken; of no use for one that is solved already.
    openings_deg : opening angles besides the design's own at which this photo may show the dummy.
    lengths_mm : lengths of this dummy known already, from another photo.
    hand : joints pointed at by hand in this photo.

    Raises
    ------
    FoldgaugeError : no way makes sense; the error of the first one is told.
    """
    solved = source if isinstance(source, Solved) else solve_photo(source, setup)
    layout = layout_of(spec, openings_deg, lengths_mm)
    problem: FoldgaugeError | None = None
    ways = placings(solved, near_end_of(spec))
    for placing in ways:
        try:
            shot = _measured(solved, spec, placing, layout, hand)
        except FoldgaugeError as err:
            problem = problem or err
            continue
        nominal = nominal_lengths(spec, shot.measured.opening.value)
        if len(off_lengths(shot.measured, nominal)) >= SEVERAL:
            _refuse_exchanged(solved, spec, placing, layout, shot.measured)
        return shot
    assert problem is not None
    _refuse_exchanged(solved, spec, ways[0], layout, None)
    raise problem


def _refuse_exchanged(
    solved: Solved, spec: Spec, placing: Placing, layout: Layout, before: Measured | None
) -> None:
    """Refuse a photo in which left and right are exchanged against a design whose sides differ."""
    other = exchanged(layout) if lopsided(spec) else None
    if other is None:
        return
    try:
        profile = _profile(solved, with_marks(placing), other, ())
    except FoldgaugeError:
        return
    refuse_exchanged(solved.photo.name, before, measured_of(profile, spec), spec)
