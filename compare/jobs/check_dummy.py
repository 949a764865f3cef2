"""The main job, start to end: one photo of a dummy, or several, against its design."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

from capture.camera.view import View
from capture.errors import FoldgaugeError, Option
from capture.files import FileBytes
from capture.photo import Photo, PhotoSource
from capture.placing import Placing
from capture.setup import Setup
from capture.sight.sighting import Sighting
from capture.solved import Solved
from compare.design.load_spec import load_spec
from compare.design.spec.spec import Spec
from compare.jobs.hand_marks import marked
from compare.jobs.one_photo import Shot, take_shot
from compare.jobs.right_dummy import require_one_dummy
from compare.jobs.several_photos import Gathered, gather, known_lengths
from compare.jobs.shut_photo import ShutPhoto, overhang_seen, see_shut
from compare.motion_seen.openings_seen import MotionSeen, motion_seen
from compare.quantities.budgets import budgets_of, source_sizes
from compare.quantities.lengths_by_hand import HandReading, reading_of
from compare.verdict.conformity import Rule, Verdict
from compare.verdict.findings import Findings, compare_profile
from measure.joints.by_hand import HandPoint
from measure.joints.error_budget import Budget
from measure.profile import Profile

NO_SETUP: Final = Setup()
MAX_PHOTOS = 12
OTHER_OPENINGS = tuple(float(d) for d in range(60, 181, 8))
"""Openings (degrees) at which a further photo may show the dummy."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Inspection:
    """A dummy checked: all that was read, measured and concluded.

    Attributes
    ----------
    spec : the design.
    shots : the photos, each measured on its own.
    gathered : what they say together.
    findings : the comparison.
    closed : the shut dummy as photographed from above; None without such a photo.
    camera : name of the calibrated camera; "" if the lens was taken from what the photo says of it.
    readings : lengths read by hand that were taken in.
    """

    spec: Spec
    shots: tuple[Shot, ...]
    gathered: Gathered
    findings: Findings
    closed: ShutPhoto | None = None
    camera: str = ""
    readings: tuple[HandReading, ...] = ()

    @property
    def photo(self) -> Photo:
        """The first photo."""
        return self.shots[0].photo

    @property
    def sighting(self) -> Sighting:
        """The sheet as seen in the first photo."""
        return self.shots[0].sighting

    @property
    def view(self) -> View:
        """The view of the first photo."""
        return self.shots[0].view

    @property
    def profile(self) -> Profile:
        """The profile all conclusions rest on, in the first photo's sheet coordinates."""
        return self.gathered.profile

    @property
    def placing(self) -> Placing:
        """How the sheet is used in the first photo, and where the near end stands."""
        return self.shots[0].placing

    @property
    def verdict(self) -> Verdict:
        """The verdict over everything compared."""
        return self.findings.verdict

    @property
    def motion(self) -> MotionSeen | None:
        """The movement, where photos at several openings show it."""
        return motion_seen(self.gathered.groups, self.gathered.measured, self.spec)

    @property
    def budgets(self) -> tuple[Budget, ...]:
        """The uncertainty budgets of all lengths and leans."""
        sizes = source_sizes(self.placing.standoff_err_mm, self.spec.card.near_end_spread)
        return budgets_of(self.findings.measured, sizes)


def check(
    photos: PhotoSource | Solved | Sequence[PhotoSource | Solved],
    spec: str | Path | FileBytes | Spec,
    setup: Setup = NO_SETUP,
    *,
    rule: Rule | Literal["guarded", "simple"] = Rule.GUARDED,
    points: Sequence[HandPoint] = (),
    readings: Sequence[str | HandReading] = (),
    closed: PhotoSource | None = None,
    shut_mm: float | None = None,
) -> Inspection:
    """Check a dummy against its design, from one photo or several.

    Parameters
    ----------
    photos : an end-on photo of the open dummy with the printed marker sheet (path, bytes or array, see
        `capture.photo.read_photo`; or one solved already under this set-up); or several photos of the same
        dummy from different places (uneven near ends are then placed in depth), or at different openings (its
        lengths are the same in all). The first must show it at the design's own opening.
    spec : the design: a TOML file, or one read already.
    setup : how all the photos were taken.
    points : joints pointed at by hand in the photo (`measure.joints.by_hand`); one photo only.
    readings : lengths read by hand from the dummy, "leg left=39.8 +- 0.3" (in the spec's unit, U), taken in
        as measurements with their own uncertainty.
    closed : photo of the shut dummy on the uncut sheet, from above: what sticks out is set beside what the
        lengths predict (`compare.jobs.shut_photo`).
    shut_mm : thickness of the shut dummy, mm; None = from the layers of card.
    rule : "guarded" (only what is sure by U passes or fails) or "simple" (the measured value alone decides).

    Returns
    -------
    Inspection.

    Raises
    ------
    FoldgaugeError : one line on what is wrong with the photo, the spec or the set-up.
    """
    sources: list[PhotoSource | Solved] = list(photos) if isinstance(photos, list | tuple) else [photos]  # type: ignore[list-item]
    if not sources:
        raise FoldgaugeError("no photo given")
    if len(sources) > MAX_PHOTOS:
        raise FoldgaugeError(f"{len(sources)} photos given; at most {MAX_PHOTOS} of one dummy make sense")
    design = spec if isinstance(spec, Spec) else load_spec(spec)
    if points and len(sources) > 1:
        raise FoldgaugeError(
            Option.POINTS, " belongs to one photo (its pixels are that photo's); give one photo"
        )
    taken = [reading_of(r, design) if isinstance(r, str) else r for r in readings]
    # First, for it takes the least time to find out that something is wrong with it.
    shut = None if closed is None else see_shut(closed, design, setup, shut_mm=shut_mm)
    shots: list[Shot] = []
    for source in sources:
        shots.append(
            take_shot(
                source,
                design,
                setup,
                openings_deg=OTHER_OPENINGS if shots else (),
                lengths_mm=known_lengths(shots[0], design) if shots else None,
                hand=points,
            )
        )
    require_one_dummy([s.photo.name for s in shots], [s.measured for s in shots])
    gathered = gather(shots, design)
    findings = compare_profile(
        gathered.profile,
        design,
        rule=Rule(rule),
        measured=gathered.measured,
        readings=taken,
        seen_shut=None if shut is None else overhang_seen(shut, gathered.measured, design),
    )
    return Inspection(
        spec=design,
        shots=tuple(shots),
        gathered=gathered,
        findings=marked(findings, shots[0].profile.by_hand),
        closed=shut,
        camera="" if setup.camera is None else setup.camera.name,
        readings=tuple(taken),
    )
