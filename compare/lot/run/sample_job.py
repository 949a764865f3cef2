"""One sample of a lot, checked in a worker process.

A worker keeps to one thread (the lot is parallel already), leaves Ctrl-C to the parent, and turns every
failure into a reason, so that one bad photo never stops the rest.
"""

import os
import signal
import threading
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

from capture.errors import FoldgaugeError
from capture.files import FileBytes
from compare.design.spec.spec import Spec
from compare.lot.run.checking import Checking
from compare.lot.run.unused_photos import NoMemory, OwnError, Unused

if TYPE_CHECKING:
    from compare.jobs.check_dummy import Inspection


PARENT_CHECK_S: Final = 1.0
"""How often a worker looks whether its parent is alive."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """What a worker needs.

    Attributes
    ----------
    photos : paths on a disk the worker sees; or the files themselves, for a worker on another machine.
    spec, checking : the design, and how to check.
    """

    photos: tuple[Path | FileBytes, ...]
    spec: Spec
    checking: Checking


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
    reason: Unused = ""
    result: Mapping[str, Any] = field(default_factory=dict)
    alone: Mapping[str, Sequence[float]] = field(default_factory=dict)
    dropped: tuple[tuple[str, str], ...] = ()
    seconds: float = 0.0


@cache
def end_with_parent() -> None:
    """End this worker when the process that began it is gone: killed, it can tell nobody to stop."""
    parent = os.getppid()

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(PARENT_CHECK_S)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def one_thread() -> None:
    """Keep this process to one thread and deaf to Ctrl-C."""
    import cv2

    cv2.setNumThreads(1)
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGINT, signal.SIG_IGN)


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


def _check_one(job: Job, photos: Sequence[Path | FileBytes]) -> "Inspection":
    from compare.jobs.check_dummy import check

    return check(list(photos), job.spec, job.checking.setup, rule=job.checking.rule)


def _usable(job: Job) -> tuple[list[Path | FileBytes], dict[str, str]]:
    """Try each photo by itself; return those that work, and name -> reason of the others."""
    good: list[Path | FileBytes] = []
    reasons: dict[str, str] = {}
    for photo in job.photos:
        try:
            _check_one(job, [photo])
        except FoldgaugeError as err:
            reasons[photo.name] = job.checking.telling.refusal(err)
        else:
            good.append(photo)
    return good, reasons


def _check(job: Job) -> Outcome:
    """Check a sample; of several photos those that cannot be used are left out."""
    dropped: tuple[tuple[str, str], ...] = ()
    telling = job.checking.telling
    try:
        inspection = _check_one(job, job.photos)
    except FoldgaugeError as err:
        if len(job.photos) == 1:
            return Outcome(status="refused", reason=telling.refusal(err))
        good, reasons = _usable(job)
        if not good or not reasons:
            return Outcome(status="refused", reason=next(iter(reasons.values()), telling.refusal(err)))
        dropped = tuple(reasons.items())
        try:
            inspection = _check_one(job, good)
        except FoldgaugeError as again:
            return Outcome(status="refused", reason=telling.refusal(again), dropped=dropped)
    return Outcome(
        status="checked", result=telling.result(inspection), alone=_alone(inspection), dropped=dropped
    )


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
        outcome = _check(job)
    except MemoryError:
        outcome = Outcome(status="failed", reason=NoMemory(names))
    except Exception as err:  # a bug must not cost the lot; it is told as one and tried again next time
        what = " ".join(f"{type(err).__name__}: {err}".split())
        outcome = Outcome(status="failed", reason=OwnError(names, what))
    return replace(outcome, seconds=time.perf_counter() - start)
