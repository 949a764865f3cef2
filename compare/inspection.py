"""The main job, start to end: one photo of a dummy against its design."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from capture.adjust import solve_view
from capture.advice import advise
from capture.errors import FoldgaugeError
from capture.photo import Photo, read_photo
from capture.print_scale import PrintScale
from capture.sighting import Sighting, find_sheet
from capture.view import View
from compare.conformity import Rule, Verdict
from compare.design.layout import layout_of
from compare.design.spec import Spec, load_spec
from compare.findings import Findings, compare_profile
from compare.report.answer import answer
from compare.report.as_json import findings_dict
from compare.scale import common_scale
from compare.version import own_version
from measure.near_end import measure_profile
from measure.profile import Profile

Use = Literal["auto", "arch", "backdrop"]
Placing = tuple[str, float, float, tuple[str, ...]]
"""Use, standoff and its standard uncertainty (mm), notes on what was assumed."""

RULED_DEPTH_SD = 0.5  # mm, standoff given by hand: a depth read with a ruler; common practice, no source
SPEC_DEPTH_SD = 1.0  # mm, standoff taken from the spec: the sheet never stands quite flush behind


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Inspection:
    """One photo checked: all that was read, measured and concluded.

    Attributes
    ----------
    photo, spec, sighting, view, profile : the inputs and what was solved from them.
    use : "arch" or "backdrop", as given or as seen.
    standoff_mm, standoff_err_mm : how far in front of the sheet the near end stands, and its uncertainty.
    findings : the comparison.
    notes : what the user should know about this photo and what was assumed.
    """

    photo: Photo
    spec: Spec
    sighting: Sighting
    view: View
    profile: Profile
    use: str
    standoff_mm: float
    standoff_err_mm: float
    findings: Findings
    notes: tuple[str, ...]

    @property
    def answer(self) -> str:
        """The answer in one line."""
        return answer(self.findings)

    @property
    def verdict(self) -> Verdict:
        """The verdict over everything compared."""
        return self.findings.verdict

    def as_dict(self) -> dict[str, Any]:
        """Return the result as documented in `compare.report.as_json`."""
        out = findings_dict(self.findings)
        out["photo"] = {
            "name": self.photo.name,
            "sha256": self.photo.sha256,
            "size": list(self.photo.size),
        }
        source = self.spec.source
        out["spec"] = {"name": source.name, "sha256": source.sha256, "units": self.spec.units}
        out["use"] = self.use
        out["standoff_mm"] = self.standoff_mm
        out["sheet"] = {
            "paper": self.sighting.sheet.paper,
            "saddles": self.view.n_saddles,
            "rms_px": round(self.view.rms_px, 4),
        }
        out["notes"] = list(self.notes)
        out["versions"] = versions()
        return out


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


def _require_plausible_scale(photo: Photo, findings: Findings, use: str, standoff_mm: float) -> None:
    """Refuse a result in which everything is too large or too small together: the set-up is wrong."""
    common = common_scale(findings.measured, findings.spec)
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


def _attempt(
    photo: Photo,
    view: View,
    sighting: Sighting,
    spec: Spec,
    use: str,
    standoff_mm: float,
    standoff_err_mm: float,
) -> tuple[Profile, Findings]:
    """Measure and compare under one assumption about the sheet."""
    profile = measure_profile(
        photo,
        view,
        layout_of(spec),
        sighting.sheet,
        arch=use == "arch",
        bottom_closed=sighting.bottom_band_seen,
        standoff_mm=standoff_mm,
        standoff_err_mm=standoff_err_mm,
        blur_px=sighting.blur_px,
    )
    return profile, compare_profile(profile, spec)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Attempt:
    """Measured and compared under one assumption about the sheet."""

    use: str
    standoff_mm: float
    standoff_err_mm: float
    notes: tuple[str, ...]
    profile: Profile
    findings: Findings


def _first_sound(photo: Photo, view: View, sighting: Sighting, spec: Spec, ways: list[Placing]) -> _Attempt:
    """Return the first way of taking the sheet under which the dummy makes sense.

    Raises
    ------
    FoldgaugeError : none does; the error of the first way is told.
    """
    problem: FoldgaugeError | None = None
    for use, standoff, err, notes in ways:
        try:
            profile, findings = _attempt(photo, view, sighting, spec, use, standoff, err)
            _require_plausible_scale(photo, findings, use, standoff)
        except FoldgaugeError as e:
            problem = problem or e
            continue
        return _Attempt(
            use=use,
            standoff_mm=standoff,
            standoff_err_mm=err,
            notes=notes,
            profile=profile,
            findings=findings,
        )
    assert problem is not None
    raise problem


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


def check(
    photo_path: str | Path,
    spec_path: str | Path,
    *,
    use: Use = "auto",
    standoff_mm: float | None = None,
    bars_mm: tuple[float, float] | None = None,
    rule: Rule | Literal["guarded", "simple"] = Rule.GUARDED,
) -> Inspection:
    """Check one photo of a dummy against its design.

    Parameters
    ----------
    photo_path : an end-on photo of the open dummy with the printed marker sheet.
    spec_path : the design (TOML).
    use : how the sheet is used; "auto" looks whether its lower band is there.
    standoff_mm : backdrop use: distance from the sheet to the near end; else taken from the spec.
    bars_mm : lengths of the sheet's two check bars, across and up, read with a rule, mm.
    rule : "guarded" (only what is sure by U passes or fails) or "simple" (the measured value alone decides).

    Returns
    -------
    Inspection.

    Raises
    ------
    FoldgaugeError : one line on what is wrong with the photo, the spec or the options.
    """
    spec = load_spec(spec_path)
    photo = read_photo(Path(photo_path))
    sighting = find_sheet(photo)
    print_scale = None if bars_mm is None else PrintScale.from_bars(sighting.sheet, *bars_mm)
    view = solve_view(photo, sighting, print_scale)
    sound = _first_sound(photo, view, sighting, spec, _ways(spec, sighting, use, standoff_mm))
    decided = Rule(rule)
    findings = (
        sound.findings
        if sound.findings.rule is decided
        else compare_profile(sound.profile, spec, rule=decided)
    )
    return Inspection(
        photo=photo,
        spec=spec,
        sighting=sighting,
        view=view,
        profile=sound.profile,
        use=sound.use,
        standoff_mm=sound.standoff_mm,
        standoff_err_mm=sound.standoff_err_mm,
        findings=findings,
        notes=(
            *sound.notes,
            *view.notes,
            *(a.text for a in advise(view, sighting) if a.topic != "print scale"),
            *sound.profile.notes,
        ),
    )
