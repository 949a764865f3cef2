"""The main job, start to end: one photo of a dummy, or several, against its design."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

from capture.camera.view import View
from capture.errors import FoldgaugeError, Option
from capture.files import FileBytes
from capture.photo import Photo, PhotoSource
from capture.placing import Placing
from capture.setup import Setup
from capture.sight.sighting import Sighting
from compare.design.load_spec import load_spec
from compare.design.spec.spec import Spec
from compare.jobs.hand_marks import hand_note, marked
from compare.jobs.one_photo import Shot, take_shot
from compare.jobs.several_photos import Gathered, gather, known_lengths
from compare.jobs.shut_photo import ShutPhoto, overhang_seen, see_shut
from compare.tell.check.check_json import findings_dict
from compare.tell.words.answer import answer
from compare.tell.words.placing_notes import placing_notes
from compare.verdict.conformity import Rule, Verdict
from compare.verdict.findings import Findings, compare_profile, with_overhang
from compare.version import own_version
from measure.joints.by_hand import HandPoint
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
    notes : what the user should know about the photos and what was assumed.
    closed : the shut dummy as photographed from above; None without such a photo.
    camera : name of the calibrated camera; "" if the lens was taken from what the photo says of it.
    """

    spec: Spec
    shots: tuple[Shot, ...]
    gathered: Gathered
    findings: Findings
    notes: tuple[str, ...]
    closed: ShutPhoto | None = None
    camera: str = ""

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
    def answer(self) -> str:
        """The answer in one line."""
        return answer(self.findings)

    @property
    def verdict(self) -> Verdict:
        """The verdict over everything compared."""
        return self.findings.verdict

    def as_dict(self) -> dict[str, Any]:
        """Return the result as documented in `compare.tell.check.check_json`."""
        out = findings_dict(self.findings)
        out["photo"] = {
            "name": self.photo.name,
            "sha256": self.photo.sha256,
            "size": list(self.photo.size),
        }
        if len(self.shots) > 1:
            out["photos"] = [
                {"name": s.photo.name, "sha256": s.photo.sha256, "opening_deg": _rounded(deg)}
                for s, deg in zip(self.shots, self.gathered.openings_deg, strict=True)
            ]
        if self.gathered.together is not None:
            out["near_ends_mm"] = {k: round(v, 2) for k, v in self.gathered.together.near_end_mm.items()}
        source = self.spec.source
        out["spec"] = {"name": source.name, "sha256": source.sha256, "units": self.spec.units}
        out["camera"] = self.camera or None
        out["use"] = self.placing.use
        out["standoff_mm"] = self.placing.standoff_mm
        out["sheet"] = {
            "paper": self.sighting.sheet.paper,
            "saddles": self.view.n_saddles,
            "rms_px": round(self.view.rms_px, 4),
        }
        if self.closed is not None:
            out["closed"] = self.closed.as_dict()
        if hand := self.shots[0].profile.by_hand:
            out["by_hand"] = {joint: {"sd_px": sd} for joint, sd in hand.items()}
        out["notes"] = list(self.notes)
        out["versions"] = versions()
        return out

    def write_report(self, path: str | Path) -> None:
        """Write the report page; OutputError if it cannot be written."""
        from compare.tell.check.check_page import write_report

        write_report(self, Path(path))


def versions() -> dict[str, str]:
    """Return versions of this program and of what its numbers rest on."""
    import platform

    import cv2
    import numpy as np

    return {
        "foldgauge": own_version(),
        "numpy": np.__version__,
        "opencv": cv2.__version__,
        "python": platform.python_version(),
    }


def check(
    photos: PhotoSource | Sequence[PhotoSource],
    spec: str | Path | FileBytes | Spec,
    setup: Setup = NO_SETUP,
    *,
    rule: Rule | Literal["guarded", "simple"] = Rule.GUARDED,
    points: Sequence[HandPoint] = (),
    closed: PhotoSource | None = None,
    shut_mm: float | None = None,
) -> Inspection:
    """Check a dummy against its design, from one photo or several.

    Parameters
    ----------
    photos : an end-on photo of the open dummy with the printed marker sheet (path, bytes or array, see
        `capture.photo.read_photo`); or several photos of the same dummy from different places (uneven near
        ends are then placed in depth), or at different openings (its lengths are the same in all). The first
        must show it at the design's own opening.
    spec : the design: a TOML file, or one read already.
    setup : how all the photos were taken.
    points : joints pointed at by hand in the photo (`measure.joints.by_hand`); one photo only.
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
    sources: list[PhotoSource] = list(photos) if isinstance(photos, list | tuple) else [photos]  # type: ignore[list-item]
    if not sources:
        raise FoldgaugeError("no photo given")
    if len(sources) > MAX_PHOTOS:
        raise FoldgaugeError(f"{len(sources)} photos given; at most {MAX_PHOTOS} of one dummy make sense")
    design = spec if isinstance(spec, Spec) else load_spec(spec)
    if points and len(sources) > 1:
        raise FoldgaugeError(
            Option.POINTS, " belongs to one photo (its pixels are that photo's); give one photo"
        )
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
    gathered = gather(shots, design)
    findings = compare_profile(gathered.profile, design, rule=Rule(rule), measured=gathered.measured)
    shut = None
    if closed is not None:
        shut = see_shut(closed, design, setup, shut_mm=shut_mm)
        findings = with_overhang(findings, overhang_seen(shut, findings.measured, design))
    return Inspection(
        spec=design,
        shots=tuple(shots),
        gathered=gathered,
        findings=marked(findings, shots[0].profile.by_hand),
        closed=shut,
        camera="" if setup.camera is None else setup.camera.name,
        notes=(
            *(shut.notes if shut is not None else ()),
            *([hand_note(shots[0].profile.by_hand)] if points else []),
            *gathered.notes,
            *_photo_notes(shots),
        ),
    )


def _rounded(deg: float) -> float | None:
    return round(deg, 2) if deg == deg else None


def _photo_notes(shots: Sequence[Shot]) -> list[str]:
    """Return the notes of every photo; with several photos each says which one it is about."""
    if len(shots) == 1:
        return _notes(shots[0])
    told: dict[str, list[str]] = {}
    for shot in shots:
        for note in _notes(shot):
            told.setdefault(note, []).append(shot.photo.name)
    return [
        note if len(names) == len(shots) else f"{', '.join(names)}: {note}" for note, names in told.items()
    ]


def _notes(shot: Shot) -> list[str]:
    return [*placing_notes(shot.placing.assumed), *shot.notes]
