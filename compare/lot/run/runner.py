"""Checks every sample of a lot in parallel and keeps each in the ledger as soon as it is done.

What the ledger holds already is not done again, so a run that was stopped, or killed, goes on where it was.
Only the parent writes to the ledger.
"""

import hashlib
import json
import os
from collections import Counter
from collections.abc import Callable, Generator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

from capture.files import FileBytes
from compare.compare_errors import LotError, LotOption
from compare.design.spec.spec import Spec
from compare.lot.ledger.ledger import Ledger
from compare.lot.ledger.ledger_entry import Entry, inspection_key
from compare.lot.run.checking import Checking
from compare.lot.run.manifest import Lot, Shot
from compare.lot.run.sample_job import Job, Outcome, end_with_parent, run_job
from compare.lot.run.unused_photos import LotNote, Relabelled, SameFile, Unreadable, Unused, WorkerDied
from compare.version import own_version

Group = tuple[Shot, ...]
"""The photos of one sample that are checked together."""

Numbered = tuple[int, Outcome]
AHEAD: Final = 2  # jobs handed out per worker: one at work, one waiting
ELSEWHERE: Final = -1  # no process has this number: whoever runs the job is a worker
SCHEDULER_WAIT: Final = "15s"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """How far a run is: samples done now, found done, altogether, and those that could not be used."""

    done: int
    known: int
    total: int
    bad: int


@dataclass(slots=True, kw_only=True)
class Run:
    """A run.

    Attributes
    ----------
    keys : key of the ledger -> photos of the sample, in the order of the lot.
    problems : (photo, reason) of photos without an entry in the ledger.
    notes : what is to be known about how the photos were found.
    checked, known : samples checked in this run, and found in the ledger.
    """

    keys: dict[str, Group] = field(default_factory=dict)
    problems: list[tuple[str, Unused]] = field(default_factory=list)
    notes: list[LotNote] = field(default_factory=list)
    checked: int = 0
    known: int = 0


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def cores() -> int:
    """Return how many processors this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _numbered(number: int, job: Job, parent: int) -> Numbered:
    return number, run_job(job, parent)


def _in_worker(number: int, job: Job, parent: int) -> Numbered:
    """Run in a process of our own, which ends with this one."""
    end_with_parent()
    return _numbered(number, job, parent)


def _in_processes(jobs: Mapping[int, Job], workers: int) -> Generator[Numbered, None, None]:
    """Run in worker processes, one thread each; yield as they finish.

    A worker that dies (a crash in a library, memory taken away) takes the jobs in flight with it: those are
    run again one by one, each in a process of its own, so that only the guilty photo is lost.
    """
    from joblib import Parallel, delayed, parallel_config
    from joblib.externals.loky.process_executor import TerminatedWorkerError

    left = dict(jobs)
    suspects: list[int] = []
    # joblib runs a single worker inside the caller, where a crash would end everything: two workers of which
    # one gets a job keep it outside.
    ahead = AHEAD * workers if workers > 1 else 1
    while left:
        batch = suspects[:1] or list(left)
        with parallel_config(backend="loky", n_jobs=max(workers, 2), inner_max_num_threads=1):
            parallel = Parallel(return_as="generator_unordered", batch_size=1, pre_dispatch=ahead)
        try:
            # Closing it ends the workers: none goes on behind the back of whoever stopped the run.
            with closing(parallel(delayed(_in_worker)(i, left[i], ELSEWHERE) for i in batch)) as outcomes:
                for number, outcome in outcomes:
                    del left[number]
                    yield number, outcome
            suspects = suspects[1:]
        except TerminatedWorkerError:
            if suspects:
                guilty = suspects.pop(0)
                names = ", ".join(p.name for p in left.pop(guilty).photos)
                yield guilty, Outcome(status="failed", reason=WorkerDied(names))
            else:
                suspects = list(left)[: ahead + workers]


def _packed(photo: Path | FileBytes) -> FileBytes:
    return photo if isinstance(photo, FileBytes) else FileBytes(photo.name, photo.read_bytes())


def _on_scheduler(jobs: Mapping[int, Job], address: str) -> Generator[Numbered, None, None]:
    """Run on the workers of a Dask scheduler; photos travel as bytes, so they need no shared disk."""
    try:
        from dask.distributed import Client
        from joblib import Parallel, delayed, parallel_config
    except ImportError:
        raise LotError(LotOption.SCHEDULER, ": Dask is missing; pip install 'foldgauge[cluster]'") from None
    try:
        client = Client(address, timeout=SCHEDULER_WAIT)  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TimeoutError) as err:
        raise LotError(LotOption.SCHEDULER, f": no scheduler answers at {address}: {err}") from None

    def packed(job: Job) -> Job:
        return replace(job, photos=tuple(_packed(photo) for photo in job.photos))

    with client:
        if not client.scheduler_info()["workers"]:
            raise LotError(LotOption.SCHEDULER, f": the scheduler at {address} has no workers")
        with parallel_config(backend="dask", client=client):
            yield from Parallel(return_as="generator_unordered", batch_size=1)(
                delayed(_numbered)(i, packed(job), ELSEWHERE) for i, job in jobs.items()
            )


def _readable(shots: Group, seen: dict[str, str], run: Run) -> tuple[Group, tuple[str, ...]]:
    """Return the photos that can be read and their hashes; a file seen before is a mistake of the lot."""
    good: list[Shot] = []
    digests: list[str] = []
    for shot in shots:
        try:
            digest = sha256_of(shot.path)
        except OSError as err:
            run.problems.append((shot.path.name, Unreadable(str(err.strerror))))
            continue
        if digest in seen:
            run.problems.append((shot.path.name, SameFile(seen[digest])))
            continue
        seen[digest] = shot.path.name
        good.append(shot)
        digests.append(digest)
    return tuple(good), tuple(digests)


def _plan(
    groups: Sequence[Group], spec: Spec, settings: Mapping[str, Any], run: Run
) -> dict[str, tuple[Group, tuple[str, ...]]]:
    """Key every group of photos that is left when the unreadable ones are out."""
    seen: dict[str, str] = {}
    out: dict[str, tuple[Group, tuple[str, ...]]] = {}
    for group in groups:
        shots, digests = _readable(group, seen, run)
        if shots:
            key = inspection_key(digests, spec.source.sha256, settings, own_version())
            out[key] = (shots, digests)
    return out


def _take_over(ledger: Ledger, lot: Lot, known: Mapping[str, Group], run: Run) -> None:
    """Bring lot, sample and labels of inspections that are there already up to date with the manifest."""
    moved: Counter[str] = Counter()
    for key, there in ledger.headings(list(known)).items():
        wanted = heading(lot, known[key])
        if there != wanted:
            if there["lot"] != wanted["lot"]:
                moved[str(there["lot"])] += 1
            ledger.relabel(key, **wanted)
    for name, count in moved.items():
        run.notes.append(Relabelled(count, name, lot.name))


def heading(lot: Lot, shots: Group) -> dict[str, str | int]:
    """Return what the folder and its manifest say about a sample, as the ledger keeps it."""
    first = shots[0]
    return {
        "lot": lot.name,
        "sample": first.sample,
        "place": first.place,
        "photos": json.dumps([s.path.name for s in shots]),
        "made_at": first.made_at,
        "labels": json.dumps(dict(first.labels)),
    }


def run_lot(
    lot: Lot,
    spec: Spec,
    checking: Checking,
    ledger: Ledger,
    *,
    workers: int | None = None,
    scheduler: str | None = None,
    together: bool = True,
    tell: Callable[[Tally], None] = lambda tally: None,
) -> Run:
    """Check every sample of a lot that is not in the ledger yet.

    Parameters
    ----------
    lot : photos and what belongs to them. spec : the design. checking : how samples are checked.
    workers : processes; default one per processor. scheduler : address of a Dask scheduler instead.
    together : all photos of a sample make one inspection; else each photo one of its own.
    tell : called after every sample.

    Raises
    ------
    LotError : the ledger or the scheduler cannot be used.
    KeyboardInterrupt : stopped; what was finished is in the ledger.
    """
    run = Run(problems=list(lot.missing), notes=list(lot.notes))
    groups = lot.samples if together else tuple((shot,) for shot in lot.shots)
    kept = checking.as_dict()
    planned = _plan(groups, spec, kept, run)
    run.keys = {key: shots for key, (shots, _) in planned.items()}
    known = ledger.known(list(planned))
    run.known = len(known)
    _take_over(ledger, lot, {k: run.keys[k] for k in known}, run)
    todo = [key for key in planned if key not in known]
    jobs = {
        i: Job(photos=tuple(s.path for s in planned[key][0]), spec=spec, checking=checking)
        for i, key in enumerate(todo)
    }
    bad = len(run.problems)

    def told() -> None:
        tell(Tally(done=run.checked, known=run.known, total=len(planned), bad=bad))

    told()
    if not jobs:
        return run
    outcomes = (
        _in_processes(jobs, workers or cores()) if scheduler is None else _on_scheduler(jobs, scheduler)
    )
    with closing(outcomes):
        for number, outcome in outcomes:
            shots, digests = planned[todo[number]]
            bad += outcome.status != "checked"
            if outcome.status == "failed":
                run.problems.append((", ".join(s.path.name for s in shots), outcome.reason))
            else:
                ledger.add(_entry(lot, shots, digests, spec, kept, outcome))
            run.checked += 1
            told()
    return run


def _entry(
    lot: Lot,
    shots: Group,
    digests: Sequence[str],
    spec: Spec,
    settings: Mapping[str, Any],
    outcome: Outcome,
) -> Entry:
    first = shots[0]
    return Entry(
        lot=lot.name,
        sample=first.sample,
        place=first.place,
        labels=first.labels,
        made_at=first.made_at,
        photos=[s.path.name for s in shots],
        photos_sha256=digests,
        dropped=outcome.dropped,
        spec=spec.source.name,
        spec_sha256=spec.source.sha256,
        settings=settings,
        version=own_version(),
        status=outcome.status,
        reason=outcome.reason if isinstance(outcome.reason, str) else "",
        seconds=outcome.seconds,
        result=outcome.result,
        alone=outcome.alone,
    )
