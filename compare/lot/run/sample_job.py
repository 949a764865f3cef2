"""One sample of a lot, checked in a worker process.

A worker keeps to one thread (the lot is parallel already), leaves Ctrl-C to the parent, and turns every
failure into a reason, so that one bad photo never stops the rest.
"""

import os
import signal
import tempfile
import threading
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from capture.errors import FoldgaugeError

if TYPE_CHECKING:
    from compare.jobs.check_dummy import Inspection


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """What a worker needs.

    Attributes
    ----------
    photos, spec : paths on a disk the worker sees. settings : keywords of `compare.check`.
    contents : the files themselves, as in `files`, for a worker on another machine; else None.
    """

    photos: tuple[Path, ...]
    spec: Path
    settings: Mapping[str, Any]
    contents: tuple[bytes, ...] | None = None

    @property
    def files(self) -> tuple[Path, ...]:
        """All files the check needs: photos, spec, and those that the settings name."""
        return (*self.photos, self.spec, *settings_files(self.settings).values())


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What came of it.

    Attributes
    ----------
    status : "checked" with the result, "refused" with the reason, or "failed" (a bug, not kept).
    alone : reading -> deviation by each photo alone, if several could be used.
    dropped : (photo, reason) of photos left out.
    """

    status: Literal["checked", "refused", "failed"]
    reason: str = ""
    result: Mapping[str, Any] = field(default_factory=dict)
    alone: Mapping[str, Sequence[float]] = field(default_factory=dict)
    dropped: tuple[tuple[str, str], ...] = ()
    seconds: float = 0.0


def settings_files(settings: Mapping[str, Any]) -> dict[str, Path]:
    """Return the settings that are paths of files (a camera, a printer), by keyword."""
    return {k: Path(v) for k, v in sorted(settings.items()) if k.endswith("_path") and v is not None}


def one_thread() -> None:
    """Keep this process to one thread and deaf to Ctrl-C."""
    import cv2

    cv2.setNumThreads(1)
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGINT, signal.SIG_IGN)


def _one_line(err: FoldgaugeError) -> str:
    return " ".join(str(err).split())


def _alone(inspection: "Inspection") -> dict[str, list[float]]:
    """Deviation of every reading by each photo alone; those that only some photos show are left out."""
    from compare.verdict.findings import compare_profile

    if len(inspection.shots) < 2:
        return {}
    out: dict[str, list[float]] = {}
    for shot in inspection.shots:
        for item in compare_profile(shot.profile, inspection.spec).items:
            out.setdefault(item.name, []).append(item.deviation)
    return {name: values for name, values in out.items() if len(values) == len(inspection.shots)}


def _usable(photos: Sequence[Path], spec: Path, settings: Mapping[str, Any]) -> tuple[list[Path], list[str]]:
    """Try each photo by itself; return those that work, and the reasons of the others in order."""
    from compare.jobs.check_dummy import check

    good: list[Path] = []
    reasons: list[str] = []
    for photo in photos:
        try:
            check(photo, spec, **settings)
        except FoldgaugeError as err:
            reasons.append(_one_line(err))
        else:
            good.append(photo)
    return good, reasons


def _check(photos: Sequence[Path], spec: Path, settings: Mapping[str, Any]) -> Outcome:
    """Check a sample; of several photos those that cannot be used are left out."""
    from compare.jobs.check_dummy import check

    dropped: tuple[tuple[str, str], ...] = ()
    try:
        inspection = check(list(photos), spec, **settings)
    except FoldgaugeError as err:
        if len(photos) == 1:
            return Outcome(status="refused", reason=_one_line(err))
        good, reasons = _usable(photos, spec, settings)
        bad = [p for p in photos if p not in good]
        if not good or not bad:
            return Outcome(status="refused", reason=reasons[0] if reasons else _one_line(err))
        dropped = tuple((p.name, r) for p, r in zip(bad, reasons, strict=True))
        try:
            inspection = check(good, spec, **settings)
        except FoldgaugeError as again:
            return Outcome(status="refused", reason=_one_line(again), dropped=dropped)
    return Outcome(status="checked", result=inspection.as_dict(), alone=_alone(inspection), dropped=dropped)


def _from_contents(job: Job, contents: tuple[bytes, ...]) -> Outcome:
    """Write the files into a folder of their own for the time of the check."""
    with tempfile.TemporaryDirectory(prefix="foldgauge-") as place:
        paths = [Path(place, p.name) for p in job.files]
        for path, content in zip(paths, contents, strict=True):
            path.write_bytes(content)
        n = len(job.photos)
        moved = dict(zip(settings_files(job.settings), map(str, paths[n + 1 :]), strict=True))
        return _check(paths[:n], paths[n], {**job.settings, **moved})


def run_job(job: Job, parent: int | None = None) -> Outcome:
    """Check one sample; never raises for what a photo can do.

    Parameters
    ----------
    job : the sample. parent : process that wants the outcome; None if it is the caller itself.
    """
    if parent is not None and parent != os.getpid():
        one_thread()
    start = time.perf_counter()
    names = ", ".join(p.name for p in job.photos)
    try:
        if job.contents is None:
            outcome = _check(job.photos, job.spec, job.settings)
        else:
            outcome = _from_contents(job, job.contents)
    except MemoryError:
        outcome = Outcome(status="failed", reason=f"{names}: not enough memory for this photo")
    except Exception as err:  # a bug must not cost the lot; it is told as one and tried again next time
        what = " ".join(f"{type(err).__name__}: {err}".split())
        outcome = Outcome(
            status="failed", reason=f"{names}: an error inside foldgauge ({what}); please report it"
        )
    return replace(outcome, seconds=time.perf_counter() - start)
