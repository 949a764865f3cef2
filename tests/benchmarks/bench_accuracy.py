"""How far lengths and angles are off on photographs of known dummies, beside two plain methods.

Run from the top folder: ``python tests/benchmarks/bench_accuracy.py [FOLDER ...] [--no-bars] [--no-plain]``
(default: sample_images). Each folder holds NAME.jpg with NAME.truth.json and the spec it names; photos
NAME-a, NAME-b, NAME-c show one dummy from different places and are also taken together; NAME-180, NAME-100
show it at different openings. Printed: one line a photo; errors of lengths, angles and lean, how often the
stated interval (k = 2) covers the truth and how large it is; the same by class; panels found and wrongly
placed; gross errors.

More photographs are made by ``python sample_images/rendering/render.py --random CLASS --seed N -o FOLDER``;
seeds the method was tuned on lie below 7200.
"""

import json
import re
import sys
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from capture.arrays import Array
from capture.errors import FoldgaugeError
from capture.setup import Setup
from compare.design.expected_layout import layout_of
from compare.jobs.check_dummy import Inspection, check
from compare.tell.words.answer import answer
from tests.benchmarks.plain_methods import by_detector, by_hough, plain_joints

METHODS = {"Canny and Hough": by_hough, "segment detector": by_detector}
LIMIT = {"length": 0.3, "angle": 0.3, "lean": 0.3}  # mm, degrees
MISPLACED_MM = 1.5
GROSS = 3.0  # times the stated U


@dataclass(frozen=True, slots=True, kw_only=True)
class Error:
    """One figure: what, error and stated U (same unit), and the plain methods' errors (nan: none)."""

    photo: str
    group: str
    kind: str
    name: str
    error: float
    expanded: float
    plain: dict[str, float] = field(default_factory=dict)


@dataclass(slots=True)
class Panels:
    """How many panels there were, how many were found, and which of those lie elsewhere."""

    total: int = 0
    found: int = 0
    misplaced: list[str] = field(default_factory=list)


def photos(folders: list[Path]) -> Iterator[tuple[Path, dict[str, Any]]]:
    """Photos of a dummy that a spec goes with, and their truth, in order of name."""
    for folder in folders:
        for truth in sorted(folder.glob("*.truth.json")):
            jpg = truth.with_name(truth.name.replace(".truth.json", ".jpg"))
            told = json.loads(truth.read_text())
            if jpg.exists() and told.get("spec") and told.get("use") in ("arch", "backdrop"):
                yield jpg, told


def checked(paths: list[Path], truth: dict[str, Any], bars: bool) -> Inspection:
    """Check as a careful user would: the use said, the bars read."""
    return check(
        paths,
        paths[0].with_name(truth["spec"]),
        Setup(
            use=truth["use"],
            standoff_mm=truth["standoff_mm"] or None,
            bars_mm=tuple(truth["bars_read_mm"]) if bars and truth.get("bars_read_mm") else None,
        ),
    )


def group_of(path: Path, truth: dict[str, Any]) -> str:
    """Class of a photo, from its name if it is a random one."""
    found = re.match(r"([a-z0-9_]+)-(arch|backdrop)-\d+", path.stem)
    return found[1] if found else "samples"


def errors_of(
    name: str, group: str, truth: dict[str, Any], inspection: Inspection, methods: dict[str, Any]
) -> list[Error]:
    """Errors of every length, angle and lean that is both known and measured."""
    layout = layout_of(inspection.spec)
    measured = inspection.findings.measured
    plain = {k: plain_joints(inspection.photo, inspection, layout, m) for k, m in methods.items()}
    exact = {k: np.array(v) for k, v in truth["joints_mm"].items()}
    use = inspection.placing.use
    out: list[Error] = []

    def add(kind: str, what: str, error: float, expanded: float, others: dict[str, float]) -> None:
        out.append(
            Error(
                photo=name,
                group=f"{group}/{use}",
                kind=kind,
                name=what,
                error=error,
                expanded=expanded,
                plain=others,
            )
        )

    def by_plain(joints: tuple[str, ...], value: Any, true: float) -> dict[str, float]:
        return {k: value(p) - true if all(j in p for j in joints) else float("nan") for k, p in plain.items()}

    ends = inspection.spec.mechanism.ends
    for what, q in measured.lengths.items():
        if what in truth["lengths_mm"]:
            true = truth["lengths_mm"][what]
            a, b = ends.get(what, ("inner foot left", "inner foot right"))
            others = by_plain((a, b), lambda p, a=a, b=b: float(np.hypot(*(p[a] - p[b]))), true)
            add("length", what, q.value - true, 2 * measured.u(q), others)
    for what, q in measured.angles.items():
        kind, _, side = what.partition(" ")
        feet = (f"inner foot {side}", f"outer foot {side}")
        if kind in ("fold", "leg") and what in ends and all(j in exact for j in (*feet, *ends[what])):
            true = _to_page(exact, ends[what], side)
            others = by_plain((*feet, *ends[what]), lambda p, e=ends[what], s=side: _to_page(p, e, s), true)
            add(
                "angle",
                what,
                float(np.degrees(q.value)) - true,
                float(np.degrees(2 * measured.u(q))),
                others,
            )
    for half, q in measured.lean.items():
        true = truth["lean_deg"].get(half, truth["lean_deg"].get(half.removeprefix("plane ")))
        if true is not None:
            add("lean", half, float(np.degrees(q.value)) - true, float(np.degrees(2 * measured.u(q))), {})
    return out


def _to_page(joints: dict[str, Array], ends: tuple[str, str], side: str) -> float:
    """Angle of a panel to its own page, degrees, counted from the page toward the inside."""
    panel = joints[ends[1]] - joints[ends[0]]
    page = joints[f"outer foot {side}"] - joints[f"inner foot {side}"]
    turn = np.degrees(np.arctan2(panel[1], panel[0]) - np.arctan2(page[1], page[0]))
    turn = (turn + 180) % 360 - 180
    return float(turn if side == "right" else -turn)


def count_panels(inspection: Inspection, truth: dict[str, Any], name: str, into: Panels) -> None:
    """Add one photo's panels: found, and those whose line misses its true joints by far."""
    exact = {k: np.array(v) for k, v in truth["joints_mm"].items()}
    joints = {p.name: p.joints for p in layout_of(inspection.spec).panels}
    for fit in inspection.profile.panels:
        into.total += 1
        if not fit.found:
            continue
        into.found += 1
        a, b = fit.line_mm[0], fit.line_mm[-1]
        along = (b - a) / np.hypot(*(b - a))
        seen = [j for j in joints[fit.name] if j in exact and not j.startswith(("fore edge", "plane edge"))]
        misses = [abs(float((exact[j] - a) @ np.array([-along[1], along[0]]))) for j in seen]
        if misses and max(misses) - abs(fit.sagitta_mm) > MISPLACED_MM:
            into.misplaced.append(f"{name}: {fit.name} by {max(misses):.1f} mm")


def told(inspection: Inspection, truth: dict[str, Any]) -> str:
    """What was put in, for the line of one photo."""
    if not truth["faults"]:
        return f"no fault put in: {inspection.verdict.value}"
    return "put in: " + ", ".join(f"{f['length']} {f['error_mm']:+.1f}" for f in truth["faults"])


def summary(title: str, rows: list[Error], limit: float) -> str:
    """One line of a table."""
    if not rows:
        return f"{title:34s} none"
    e = np.abs([r.error for r in rows])
    u = np.array([r.expanded for r in rows])
    line = (
        f"{title:34s} n {len(e):4d}  median {np.median(e):.3f}  95 % {np.percentile(e, 95):.3f}  <= {limit} "
        f"{np.mean(e <= limit):6.1%}  U median {np.median(u):.2f} covers {np.mean(e <= u):6.1%}"
    )
    for method in rows[0].plain:
        other = np.abs([r.plain.get(method, np.nan) for r in rows])
        found = np.isfinite(other)
        if found.any():
            line += f" | {method}: found {np.mean(found):4.0%} median {np.median(other[found]):.2f}"
    return line


def main() -> None:
    """Print the tables."""
    folders = [Path(a) for a in sys.argv[1:] if not a.startswith("-")] or [Path("sample_images")]
    bars = "--no-bars" not in sys.argv
    methods = {} if "--no-plain" in sys.argv else METHODS
    rows: list[Error] = []
    panels = Panels()
    series: dict[tuple[str, str], list[tuple[Path, dict[str, Any]]]] = defaultdict(list)
    for path, truth in photos(folders):
        part = re.fullmatch(r"(.+)-([abc]|\d{2,3})", path.stem)
        if part and (path.parent / f"{part[1]}.toml").exists():
            series[part[1], "opening" if part[2].isdigit() else "place"].append((path, truth))
        if part and part[2].isdigit() and part[2] != "180":
            continue  # not at the opening of the spec: only together with the photo that is
        try:
            inspection = checked([path], truth, bars)
        except FoldgaugeError as problem:
            print(f"{path.stem:28s} refused: {problem}")
            continue
        new = errors_of(path.stem, group_of(path, truth), truth, inspection, methods)
        rows += new
        count_panels(inspection, truth, path.stem, panels)
        lengths = np.abs([r.error for r in new if r.kind == "length"])
        print(
            f"{path.stem:28s} {inspection.placing.use:8s} lengths worst {lengths.max():.2f} median "
            f"{np.median(lengths):.2f} | {told(inspection, truth)} | {answer(inspection.findings)}"
        )
    together: list[Error] = []
    for (name, kind), members in series.items():
        ordered = sorted(members, key=lambda m: (not m[0].stem.endswith("180"), m[0].stem))
        if len(ordered) < 2:
            continue
        try:
            inspection = checked([m[0] for m in ordered], ordered[0][1], bars)
        except FoldgaugeError as problem:
            print(f"{name:28s} together refused: {problem}")
            continue
        group = f"{len(ordered)} photos, each from another {kind}"
        together += errors_of(name, group, ordered[0][1], inspection, {})
    print()
    for kind, limit in LIMIT.items():
        for use in ("arch", "backdrop"):
            title = f"{kind}, {use} ({'mm' if kind == 'length' else 'degrees'})"
            part = [r for r in rows if r.kind == kind and r.group.endswith(use)]
            print(summary(title, part, limit))
    for group in sorted({r.group for r in together}):
        for kind, limit in LIMIT.items():
            print(
                summary(
                    f"{kind}, {group}", [r for r in together if (r.group, r.kind) == (group, kind)], limit
                )
            )
    print()
    for group in sorted({r.group for r in rows}):
        part = [r for r in rows if (r.group, r.kind) == (group, "length")]
        print(summary(group, [Error(**{**_fields(r), "plain": {}}) for r in part], LIMIT["length"]))
    gross = [r for r in rows if abs(r.error) > GROSS * r.expanded]
    print(
        f"\npanels found {panels.found} of {panels.total}; found but more than {MISPLACED_MM} mm off: "
        f"{len(panels.misplaced)}; figures off by more than {GROSS:g} U: {len(gross)} of {len(rows)} "
        f"({len(gross) / max(len(rows), 1):.2%})"
    )
    for line in panels.misplaced:
        print(f"  {line}")
    for r in rows:
        if abs(r.error) > 1.5 * r.expanded:
            print(f"beyond 1.5 U: {r.photo} {r.kind} {r.name}: {r.error:+.2f}, U {r.expanded:.2f}")


def _fields(r: Error) -> dict[str, Any]:
    return {
        name: getattr(r, name) for name in ("photo", "group", "kind", "name", "error", "expanded", "plain")
    }


if __name__ == "__main__":
    main()
