"""`foldgauge measure`: one photo of a dummy, no spec. Traced and measured, not judged."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from capture.advice import Advice, advise
from capture.camera.view import View
from capture.photo import Photo, PhotoSource
from capture.placing import Depth, NearEnd, Placing, placings, with_marks
from capture.setup import Setup
from capture.sight.sighting import Sighting
from capture.solved import Solved, solve_photo
from compare.quantities.budgets import source_sizes
from compare.without_spec.traced_lengths import traced_lengths
from measure.joints.by_hand import HandPoint
from measure.joints.error_budget import COVERAGE, Budget, budget_of
from measure.layout import Card
from measure.profile import Profile
from measure.tracing.measure_untold import Untold, measure_untold
from measure.tracing.trace_dummy import Traced

DEG: Final = float(np.degrees(1.0))
NO_SETUP: Final = Setup()


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One measured figure: name, value, standard uncertainty, unit ("mm" or "deg"), hand-set joints."""

    name: str
    value: float
    u: float
    unit: str
    by_hand: tuple[str, ...] = ()

    @property
    def expanded(self) -> float:
        """Expanded uncertainty U, k = 2."""
        return COVERAGE * self.u


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Tracing:
    """A dummy measured without a spec.

    Attributes
    ----------
    photo, sighting : the photo and the sheet in it.
    placing : how the sheet was used, where the near end stands, and the view of both.
    untold : topology and profile.
    lengths, angles : figures in the order they are told.
    budgets : one per length.
    advice : what would make the photo better.
    """

    photo: Photo
    sighting: Sighting
    placing: Placing
    card: Card
    untold: Untold
    lengths: tuple[Figure, ...]
    angles: tuple[Figure, ...]
    budgets: tuple[Budget, ...]
    advice: tuple[Advice, ...]

    @property
    def view(self) -> View:
        """The photo's view."""
        return self.placing.view

    @property
    def profile(self) -> Profile:
        """The measured profile."""
        return self.untold.profile

    @property
    def traced(self) -> Traced:
        """The topology as traced."""
        return self.untold.traced


def measure(
    source: PhotoSource,
    setup: Setup = NO_SETUP,
    *,
    points: Sequence[HandPoint] = (),
    card: Card | None = None,
    numbers: bool = True,
) -> Tracing:
    """Measure the dummy in a photo without a design.

    Parameters
    ----------
    source : an end-on photo of the open dummy with the printed marker sheet (path, bytes or array, see
        `capture.photo.read_photo`).
    setup : how it was taken; a backdrop's standoff is needed, nothing else tells it.
    points : joints pointed at by hand in the photo (`measure.joints.by_hand`).
    card : thickness of the card, depth of the strips; None = the usual.
    numbers : whether panels that make no construction with a name are measured by plain numbers.

    Raises
    ------
    FoldgaugeError : one line on what is wrong with the photo or the set-up, or that nothing could be traced.
    """
    solved = solve_photo(source, setup)
    placing, *_ = placings(solved, _near_end(solved))
    placing = with_marks(placing)
    view, sighting = placing.view, solved.sighting
    of = card or Card()
    untold = measure_untold(
        solved.photo,
        view,
        sighting.sheet,
        of,
        arch=placing.arch,
        bottom_closed=sighting.bottom_band_seen,
        standoff_mm=placing.standoff_mm,
        standoff_err_mm=placing.standoff_err_mm,
        blur_px=sighting.blur_px,
        hand=points,
        numbers=numbers,
    )
    lengths, angles, budgets = figures(untold, source_sizes(placing.standoff_err_mm, of.near_end_sd_mm))
    return Tracing(
        photo=solved.photo,
        sighting=sighting,
        placing=placing,
        card=of,
        untold=untold,
        lengths=lengths,
        angles=angles,
        budgets=budgets,
        advice=advise(view, sighting),
    )


def _near_end(solved: Solved) -> NearEnd | None:
    """How far the near end stands before a sheet behind it, where marks on the page tell it; else None."""
    page = solved.view.page
    return None if page is None else NearEnd(page.near_z_mm, Depth.MARKS)


def figures(
    untold: Untold, sizes_mm: dict[str, float]
) -> tuple[tuple[Figure, ...], tuple[Figure, ...], tuple[Budget, ...]]:
    """Lengths and angles of a traced dummy with their uncertainties, and the budgets of the lengths."""
    profile = untold.profile
    traced = traced_lengths(untold)
    inputs = traced.inputs
    lengths = [
        Figure(
            name=name,
            value=q.value,
            u=inputs.u(q),
            unit="mm",
            by_hand=tuple(j for j in untold.traced.lengths[name] if j in profile.by_hand),
        )
        for name, q in traced.lengths.items()
    ]
    budgets = [
        budget_of(name, q.value, q.gradient, profile.cov_by_source, sizes_mm=sizes_mm)
        for name, q in traced.lengths.items()
    ]
    angles = [
        Figure(name=name, value=q.value * DEG, u=inputs.u(q) * DEG, unit="deg")
        for name, q in traced.angles.items()
    ]
    return tuple(lengths), tuple(angles), tuple(budgets)
