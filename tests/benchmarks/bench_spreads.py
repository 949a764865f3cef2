"""How photographs of real spreads are measured, class by class, each checked as a careful user would.

Run from the top folder: ``python tests/benchmarks/bench_spreads.py FOLDER ... [--jobs N] [--markdown OUT.md]
[--csv OUT.csv] [--worst DIR] [--say-use] [--no-thickness] [--only PART] [--write]``. Each folder holds
NAME.jpg, NAME.truth.json, the spec it names and, where the lens is known, NAME.camera.toml. ``--write`` puts
the table in its place in the measuring room's README.

Columns: errors of lengths (mm; those from the spine, "feet", on their own), how often U (k = 2) covers the
truth; leans (degrees); panels of which no length is told; photos refused; good dummies accused (told not to
conform, or a cause named); conforming lengths called non-conforming; non-conforming ones called conforming;
share of faulty dummies whose fault stands first among the causes. A dummy without a fault put in that is out
of a tolerance by chance is neither good nor faulty.

Photos are made by ``python sample_images/rendering/render.py --random CLASS --seed 9000-9019 -o FOLDER``.
"""

import argparse
import csv
import json
import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from PIL import Image  # noqa: E402

from tests.benchmarks.spread_figures import Figure, Outcome, markdown, outcome_of, table  # noqa: E402

COMMAND = (
    sys.executable,
    "-c",
    "import sys; sys.argv[0] = 'foldgauge'; from compare.cli import main; main()",
)
TOP = Path(__file__).resolve().parents[2]
README = TOP / "measure" / "README.md"
MARKS = ("<!-- table of bench_spreads.py -->", "<!-- end of the table -->")
LIMIT_S = 300.0
WORST = 8


def photos(folders: Sequence[Path], only: str) -> Iterator[tuple[Path, dict[str, Any]]]:
    """Photos whose truth names a spec, in order of name."""
    for folder in folders:
        for path in sorted(folder.glob("*.truth.json")):
            jpg = path.with_name(path.name.replace(".truth.json", ".jpg"))
            truth = json.loads(path.read_text())
            if only in jpg.name and jpg.exists() and (folder / str(truth.get("spec"))).exists():
                yield jpg, truth


def arguments(jpg: Path, truth: dict[str, Any], spec: Path, say_use: bool) -> list[str]:
    """Options of a careful user: bars read, standoff by ruler, the calibrated lens if there is one."""
    out = ["check", str(jpg), "--spec", str(spec)]
    if say_use:
        out += ["--use", truth["use"]]
    if truth.get("bars_read_mm"):
        out += ["--bars", ",".join(f"{b:g}" for b in truth["bars_read_mm"])]
    if truth["use"] == "backdrop" and truth.get("standoff_mm") and not truth.get("doorstep"):
        out += ["--standoff", f"{truth['standoff_mm']:.1f}"]
    camera = jpg.with_suffix(".camera.toml")
    return out + (["--camera", str(camera)] if camera.exists() else [])


def checked(jpg: Path, truth: dict[str, Any], say_use: bool, no_thickness: bool, *more: str) -> Outcome:
    """Check one photo in a process of its own."""
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        spec = jpg.with_name(truth["spec"])
        if no_thickness:
            text = re.sub(r"(\[base\][^\[]*?)\nthickness = .*", r"\1", spec.read_text(), count=1)
            spec = Path(folder) / truth["spec"]
            spec.write_text(text)
        command = [*COMMAND, *arguments(jpg, truth, spec, say_use), "--json", *more]
        one = {k: "1" for k in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")}
        try:
            done = subprocess.run(
                command, cwd=TOP, env=os.environ | one, capture_output=True, text=True, timeout=LIMIT_S
            )
        except subprocess.TimeoutExpired:
            return outcome_of(jpg.stem, truth, None, f"not done within {LIMIT_S:g} s")
    told = None
    if done.returncode in (0, 3, 4):
        try:
            told = json.loads(done.stdout)
        except json.JSONDecodeError:
            done.stderr = f"no JSON: {done.stdout[:200]}"
    out = outcome_of(jpg.stem, truth, told, _last_words(done.stderr) or f"exit code {done.returncode}")
    return replace(out, seconds=time.monotonic() - began)


def _last_words(stderr: str) -> str:
    """Return the last line of what was said, and of a traceback also where it came from."""
    lines = stderr.strip().splitlines()
    places = re.findall(r'File "([^"]+)", line (\d+)', stderr)
    if not lines or not places:
        return lines[-1] if lines else ""
    ours = [(f, n) for f, n in places if Path(f).is_relative_to(TOP)] or places
    return f"{lines[-1]} (traceback, {Path(ours[-1][0]).name} line {ours[-1][1]})"


def badness(o: Outcome) -> float:
    """How much a photo should be looked at: accusations first, then errors beyond what was told."""
    worst = max((abs(f.error) / max(f.expanded, 0.1) for f in o.figures if f.kind != "spine"), default=0.0)
    return worst + 20 * bool(o.accused) + 10 * len(o.false_conforms) + 5 * bool(o.refused)


def tell(o: Outcome) -> str:
    """One line a photo."""
    if o.refused:
        return f"{o.photo:28s} refused: {o.refused}"
    lengths = [f for f in o.figures if f.kind == "length"]
    worst = max(lengths, key=lambda f: abs(f.error), default=None)
    parts = [f"{o.seconds:4.0f} s", f"missing {len(o.missing)}/{o.panels}"]
    if worst:
        parts.append(f"worst {worst.name} {worst.error:+.2f} (U {worst.expanded:.2f})")
    parts += [f"ACCUSED: {o.accused}"] if o.accused else []
    parts += [f"FALSE CONFORMS: {', '.join(o.false_conforms)}"] if o.false_conforms else []
    parts += [f"fault {'first' if o.fault_first else 'not first'}"] if o.faulty else []
    return f"{o.photo:28s} " + " | ".join([*parts, o.answer])


def write_csv(path: Path, outcomes: Sequence[Outcome], truths: dict[str, dict[str, Any]]) -> None:
    """One line per figure, with what of the truth may explain it."""
    keys = (
        "page_thickness_mm", "page_thickness_told_mm", "page_edge_in_front_of_near_ends_mm", "near_end_sd_mm",
        "inked_near_ends", "calibrated", "opening_deg", "use",
    )  # fmt: skip
    with path.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow([*Figure.__dataclass_fields__, *keys, "classes", "refused", "accused"])
        for o in outcomes:
            t = truths[o.photo]
            rest = [*(t.get(k) for k in keys), " ".join(t.get("classes", [])), o.refused, o.accused]
            for f in o.figures:
                writer.writerow([*asdict(f).values(), *rest])
            if o.refused:
                writer.writerow([o.photo, o.group, "refused", *[""] * 7, *rest])


def draw_worst(folder: Path, chosen: Sequence[tuple[Path, dict[str, Any]]], say_use: bool) -> None:
    """Write the annotated pictures of some photos, 1600 px wide."""
    folder.mkdir(parents=True, exist_ok=True)
    for jpg, truth in chosen:
        with tempfile.TemporaryDirectory() as part:
            drawn = Path(part) / "drawn.png"
            checked(jpg, truth, say_use, False, "--annotate", str(drawn))
            if drawn.exists():
                with Image.open(drawn) as picture:
                    picture.thumbnail((1600, 1600))
                    picture.convert("RGB").save(folder / f"{jpg.stem}.jpg", quality=85)


def with_table(text: str, table_text: str) -> str:
    """Return a page with the table between its two marks.

    Raises
    ------
    ValueError : the page has no such marks.
    """
    first, last = MARKS
    if text.count(first) != 1 or text.count(last) != 1 or text.index(last) < text.index(first):
        raise ValueError(f"the page needs one {first} and, below it, one {last}")
    before, rest = text.split(first)
    return f"{before}{first}\n{table_text}{last}{rest.split(last)[1]}"


def main() -> None:
    """Measure all photos, print a line for each and the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--jobs", type=int, default=max(1, (os.cpu_count() or 2) - 1))
    parser.add_argument("--markdown", type=Path)
    parser.add_argument("--csv", type=Path)
    parser.add_argument("--worst", type=Path, help="folder for annotated pictures of the worst")
    parser.add_argument("--say-use", action="store_true", help="say arch or backdrop instead of auto")
    parser.add_argument("--no-thickness", action="store_true", help="leave the page's thickness out of specs")
    parser.add_argument("--write", action="store_true", help="put the table in measure/README.md")
    parser.add_argument("--only", default="", help="only photos with this in their names")
    args = parser.parse_args()
    chosen = list(photos(args.folders, args.only))
    with ThreadPoolExecutor(args.jobs) as pool:
        results = pool.map(lambda c: checked(*c, args.say_use, args.no_thickness), chosen)
        outcomes = []
        for o in results:
            outcomes.append(o)
            print(tell(o), flush=True)
    lines = table(outcomes)
    print()
    wide = [max(len(line[i]) for line in lines) for i in range(len(lines[0]))]
    for line in lines:
        cells = [cell.rjust(w) for cell, w in zip(line[1:], wide[1:], strict=True)]
        print("  ".join([line[0].ljust(wide[0]), *cells]))
    if args.markdown:
        args.markdown.write_text(markdown(lines))
    if args.write:
        README.write_text(with_table(README.read_text(), markdown(lines)))
    if args.csv:
        write_csv(args.csv, outcomes, {jpg.stem: truth for jpg, truth in chosen})
    if args.worst:
        order = sorted(range(len(chosen)), key=lambda i: -badness(outcomes[i]))[:WORST]
        draw_worst(args.worst, [chosen[i] for i in order], args.say_use)


if __name__ == "__main__":
    main()
