"""Made-up lots: profiles from the linkage put into a ledger, as if their photos had been checked."""

import atexit
import csv
import shutil
import tempfile
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from capture.setup import Setup
from compare.design.spec.spec import Spec
from compare.lot.ledger.ledger import Ledger
from compare.lot.ledger.ledger_entry import Entry
from compare.lot.run.checking import Checking
from compare.lot.run.manifest import Lot, read_lot
from compare.lot.run.runner import Run, sha256_of
from compare.tell.check.check_json import findings_dict
from compare.tell.lot.ledger_telling import TO_LEDGER
from compare.verdict.findings import compare_profile
from compare.version import own_version
from tests.helpers.made_profiles import TWO_SIDED, profile_of, spec_of

CHECKING = Checking(setup=Setup(), telling=TO_LEDGER)
"""What the command line makes of no options."""

PEOPLE = ("Wren", "Tolly")


def result_of(spec: Spec, faults: Mapping[str, float], rng: np.random.Generator) -> dict[str, Any]:
    """What a check of a dummy with these faults prints."""
    profile = profile_of(spec, faults, noise=0.05, rng=rng)
    return findings_dict(compare_profile(profile, spec))


def fake_folder(folder: Path, count: int, labels: Sequence[Mapping[str, str]] = ()) -> Path:
    """A folder with files that stand for photos, and a manifest."""
    folder.mkdir(parents=True)
    with (folder / "manifest.csv").open("w", newline="") as file:
        columns = list(labels[0]) if labels else []
        out = csv.DictWriter(file, ["sample", "photo", *columns, "time"])
        out.writeheader()
        for i in range(count):
            name = f"piece_{i + 1:02d}.jpg"
            (folder / name).write_bytes(f"stands for photo {folder.name} {i}".encode())
            row = {
                "sample": str(i + 1),
                "photo": name,
                "time": f"2024-05-14T{8 + i // 2:02d}:{30 * (i % 2):02d}",
            }
            out.writerow(row | dict(labels[i] if labels else {}))
    return folder


def varied(base: Mapping[str, Any], wrong: Mapping[str, float], rng: np.random.Generator) -> dict[str, Any]:
    """A result like another, its lengths measured anew and off by so much more: a check without its work.

    What follows from the lengths (pairs, lean, causes, words) stays as it was.
    """
    lengths = {
        name: item | {"measured": item["measured"] + wrong.get(name, 0.0) + float(rng.normal(0, 0.07))}
        for name, item in base["lengths"].items()
    }
    return dict(base) | {"lengths": lengths}


def fill(
    ledger: Ledger,
    lot: Lot,
    spec: Spec,
    faults: Sequence[Mapping[str, float]],
    rng: np.random.Generator,
    base: Mapping[str, Any] | None = None,
) -> Run:
    """Put an inspection of every photo of a lot into the ledger; faults: one per sample, mm by length.

    With `base` the results are this one, varied.
    """
    run = Run()
    for shots, wrong in zip(lot.samples, faults, strict=True):
        digests = [sha256_of(s.path) for s in shots]
        entry = Entry(
            lot=lot.name,
            sample=shots[0].sample,
            place=shots[0].place,
            labels=shots[0].labels,
            made_at=shots[0].made_at,
            photos=[s.path.name for s in shots],
            photos_sha256=digests,
            dropped=(),
            spec=spec.source.name,
            spec_sha256=spec.source.sha256,
            settings=CHECKING.as_dict(),
            version=own_version(),
            status="checked",
            reason="",
            seconds=0.5,
            result=result_of(spec, wrong, rng) if base is None else varied(base, wrong, rng),
            alone={},
        )
        ledger.add(entry)
        run.keys[entry.key] = shots
    return run


def drifting_lot(
    place: Path, *, count: int = 24, since: int = 12, step_mm: float = -0.12, seed: int = 5
) -> tuple[Path, Path, Path]:
    """A lot whose left leg gets shorter from sample `since` on; die B makes the right foot spacing longer.

    Made once for each set of options and copied from there.

    Returns
    -------
    Folder, spec, ledger.
    """
    made = _drifting_lot(count, since, step_mm, seed)
    shutil.copytree(made, place, dirs_exist_ok=True)
    return place / "lamps", place / "spread.toml", place / "ledger.sqlite"


@cache
def _drifting_lot(count: int, since: int, step_mm: float, seed: int) -> Path:
    place = Path(tempfile.mkdtemp(prefix="drifting-lot-"))
    atexit.register(shutil.rmtree, place, ignore_errors=True)
    rng = np.random.default_rng(seed)
    spec = spec_of(TWO_SIDED, place)
    labels = [
        {
            "assembler": PEOPLE[i % 2],
            "die": "AB"[i // 3 % 2],
            "shift": "early" if i < count // 2 else "late",
            "hour": f"{8 + i // 4}:00",
        }
        for i in range(count)
    ]
    folder = fake_folder(place / "lamps", count, labels)
    faults = []
    for i in range(count):
        wrong = {k: float(rng.normal(0, 0.08)) for k in ("leg left", "leg right", "page spacing right")}
        wrong["leg left"] += step_mm * max(0, i - since + 1)
        wrong["page spacing right"] += 0.35 * (labels[i]["die"] == "B")
        faults.append(wrong)
    with Ledger(place / "ledger.sqlite") as ledger:
        fill(ledger, read_lot(folder), spec, faults, rng)
    return place
