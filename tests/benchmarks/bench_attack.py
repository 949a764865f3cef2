"""Disturbed files by the thousand through the commands, and what came of them.

Run from the top folder: ``python tests/benchmarks/bench_attack.py [--files N] [--minutes M]
[--counts FILE.json] [--kept FOLDER] [--readme]``. Half of the files are photos (JPEG, PNG, TIFF, HEIC), the
others specs, manifests, points, camera and printer files. With --counts the counts so far are read first, and
the run goes on where it ended; whole photos are kept in the folder of --kept between runs. --readme writes
the counts into the README of the room that guards the doors. A file can be made again by its number: --only
NUMBER tells what comes of it.
"""

import argparse
import json
import multiprocessing
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Final

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.benchmarks.attack_worker import KINDS, serve  # noqa: E402

HANG_S: Final = 20.0
"""Processor time of one file beyond which it is said to hang."""

PATIENCE_S: Final = 180.0
"""By the clock: other work may run on the same processors, and whole photos are measured to compare with."""

MOST_MB: Final = 1000.0
README: Final = Path("capture/README.md")
BEGIN, END = "<!-- attack: begin -->", "<!-- attack: end -->"
NEVER: Final = (
    "traceback", "hang", "died", "not one line", "control character", "unknown exit code", "input changed",
    "false conforms", "wrong verdict", "length off by more than U", "attack failed",
)  # fmt: skip


@dataclass(slots=True)
class Counts:
    """Counts by kind of file, and the numbers of the files in which something was wrong."""

    files: dict[str, int] = field(default_factory=dict)
    taken: dict[str, int] = field(default_factory=dict)
    peak_mb: dict[str, float] = field(default_factory=dict)
    most_s: dict[str, float] = field(default_factory=dict)
    faults: dict[str, dict[str, list[int]]] = field(default_factory=dict)

    @property
    def done(self) -> int:
        """How many files there were."""
        return sum(self.files.values())

    def add(self, number: int, came: Mapping[str, Any]) -> None:
        """Count one file."""
        kind = came["kind"]
        self.files[kind] = self.files.get(kind, 0) + 1
        self.taken[kind] = self.taken.get(kind, 0) + (came["code"] in (0, 3, 4))
        self.peak_mb[kind] = max(self.peak_mb.get(kind, 0.0), came["peak_mb"])
        self.most_s[kind] = max(self.most_s.get(kind, 0.0), came["seconds"])
        for fault in came["faults"]:
            self.faults.setdefault(fault, {}).setdefault(kind, []).append(number)

    def rows(self) -> list[list[str]]:
        """The table: a column per kind of file."""
        kinds = list(dict.fromkeys(KINDS))
        rows = [["", *kinds, "all"]]

        def row(name: str, values: Sequence[float], whole: float) -> None:
            rows.append([name, *(f"{v:.0f}" for v in values), f"{whole:.0f}"])

        files = [self.files.get(k, 0) for k in kinds]
        row("files", files, sum(files))
        row("of them read and answered", [self.taken.get(k, 0) for k in kinds], sum(self.taken.values()))
        for fault in NEVER:
            values = [len(self.faults.get(fault, {}).get(k, ())) for k in kinds]
            if fault != "attack failed" or any(values):
                row(fault, values, sum(values))
        times = [self.most_s.get(k, 0.0) for k in kinds]
        row("longest, s of one processor", times, max(times))
        peaks = [self.peak_mb.get(k, 0.0) for k in kinds]
        row("memory at its highest, MB", peaks, max(peaks))
        return rows


class Worker:
    """A worker process that is begun anew when it hangs or dies."""

    def __init__(self, folder: str, kept: str) -> None:
        self._folders = folder, kept
        self._begin()

    def _begin(self) -> None:
        context = multiprocessing.get_context("spawn")
        self._pipe, theirs = context.Pipe()
        self._process = context.Process(target=serve, args=(theirs, *self._folders))
        self._process.start()
        theirs.close()

    def come_of(self, number: int) -> dict[str, Any]:
        """What came of the file of this number."""
        kind = KINDS[number % len(KINDS)]
        lost = {"kind": kind, "how": "?", "code": -1, "said": "", "peak_mb": 0.0, "seconds": 0.0}
        self._pipe.send(number)
        try:
            if self._pipe.poll(PATIENCE_S):
                came: dict[str, Any] = self._pipe.recv()
                late = ("hang",) if came["seconds"] > HANG_S else ()
                return came | {"faults": (*came["faults"], *late)}
            fault = "hang"
        except EOFError:
            fault = "died"
        self.end()
        self._begin()
        return lost | {"faults": (fault,)}

    def end(self) -> None:
        """End the process."""
        self._process.kill()
        self._process.join()


def told(counts: Counts) -> str:
    """The table as Markdown."""
    rows = counts.rows()
    lines = ["| " + " | ".join(row) + " |" for row in rows]
    lines.insert(1, "|---|" + "---:|" * (len(rows[0]) - 1))
    return "\n".join(lines)


def into_readme(text: str) -> None:
    """Put the table between the marks in the README."""
    old = README.read_text(encoding="utf-8")
    head, rest = old.split(BEGIN)
    tail = rest.split(END)[1]
    README.write_text(f"{head}{BEGIN}\n{text}\n{END}{tail}", encoding="utf-8")


def main() -> None:
    """Attack, and print the counts."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--files", type=int, default=200)
    parser.add_argument("--minutes", type=float, default=1e9)
    parser.add_argument("--counts", type=Path)
    parser.add_argument("--kept", type=Path)
    parser.add_argument("--readme", action="store_true")
    parser.add_argument("--only", type=int)
    args = parser.parse_args()
    counts = Counts()
    if args.counts is not None and args.counts.exists():
        counts = Counts(**json.loads(args.counts.read_text()))
    start = time.monotonic()
    with tempfile.TemporaryDirectory() as folder, tempfile.TemporaryDirectory() as passing:
        kept = args.kept or Path(passing)
        kept.mkdir(parents=True, exist_ok=True)
        worker = Worker(folder, str(kept))
        numbers = [args.only] if args.only is not None else range(counts.done, args.files)
        for number in numbers:
            if time.monotonic() - start > 60 * args.minutes:
                break
            came = worker.come_of(number)
            counts.add(number, came)
            if came["faults"] or args.only is not None:
                print(number, came, flush=True)
            if args.counts is not None and args.only is None:
                args.counts.write_text(json.dumps(asdict(counts)))
        worker.end()
    print(told(counts))
    if args.readme:
        into_readme(told(counts))


if __name__ == "__main__":
    main()
