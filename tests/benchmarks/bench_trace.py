"""How many photographs of known dummies are traced completely and right without a spec.

Run from the top folder: ``python tests/benchmarks/bench_trace.py [FOLDER or PHOTO ...]`` (default:
sample_images). A folder holds NAME.jpg with NAME.truth.json and, where the lens is known, NAME.camera.toml.
Per photo one line; then how many were

- complete: every joint found, every length right (within 0.8 mm or 1.2 U);
- but for the plane's edge: the same, except that an outer edge of the plane was said to be undetermined;
- partial: what was told is right, a half of the plane was said not to be made out;
- named otherwise: right, but a joint goes by another name than the builder's (a flap taken for a leg);
- refused: one line said that nothing could be traced;
- wrong: a length told was off, or a joint told where the dummy has none.

Beside it, of what the rules of the craft say of each dummy: how many pairs and leans there were, how many
were rightly said to hold or not to hold, how many were left open, and which were said wrongly.
"""

import json
import re
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from capture.arrays import Array
from capture.camera.camera_file import read_camera
from capture.errors import FoldgaugeError
from capture.setup import Setup
from compare.jobs.judge_dummy import USUAL_TOLERANCE
from compare.jobs.measure_dummy import Tracing, measure
from compare.verdict.conformity import Item, Verdict
from compare.without_spec.craft_findings import judge_by_craft
from compare.without_spec.traced_lengths import traced_lengths

RIGHT_MM = 0.8
SAME_MM = 3.0


PLACES = {"F": "outer foot", "L": "leg top", "T": "inner foot", "E": "plane edge", "P": "fore edge"}
SIDES = {"L": "left", "R": "right"}


def true_joints(result: Tracing, truth: dict[str, Any]) -> dict[str, Array]:
    """Where the dummy's joints are seen in the measured plane, by our names where they have one."""
    seen = truth["joints_px"] if "joints_px" in truth else truth["joints_px_at_z0"]
    at = result.view.to_plane(np.array(list(seen.values())), result.profile.standoff_mm)
    return {_our_name(name): xy for name, xy in zip(seen, at, strict=True)}


def _our_name(name: str) -> str:
    """Return `s1.L1.F` as "outer foot left", `s2.R` as "stage 2 ridge"; what has no name of ours as it is."""
    if name == "S":
        return "spine"
    found = re.fullmatch(r"(?:s(\d)\.)?(?:R|([TEP])_([LR])|([LR])(\d)\.([FL]))", name)
    if not found:
        return name
    stage = f"stage {found[1]} " if found[1] not in (None, "1") else ""
    if found[2]:
        return f"{stage}{PLACES[found[2]]} {SIDES[found[3]]}"
    return f"{stage}{PLACES[found[6]]} {SIDES[found[4]]}" if found[4] else f"{stage}ridge"


def judged(result: Tracing, truth: dict[str, Any]) -> tuple[str, str]:
    """Return the class of a result, and what is missing or wrong."""
    true = true_joints(result, truth)
    unseen = ("fore edge", "spine", "s1.S_next")  # not told, or the same place as the ridge
    has = {j for j in true if not j.startswith(unseen)}
    told = [j for j in result.profile.joints if not j.startswith("fore edge") and j != "spine"]
    nearest = {j: min(true, key=lambda t: np.hypot(*(true[t] - result.profile.at(j)))) for j in told}
    far = {j for j in told if np.hypot(*(true[nearest[j]] - result.profile.at(j))) > SAME_MM}
    wrong = [f"{j} invented" for j in sorted(far)]
    for f in result.lengths:
        a, b = result.traced.lengths[f.name]
        if {a, b} <= set(nearest) - far:
            name = f.name if f.name in truth["lengths_mm"] and nearest[a] == a and nearest[b] == b else ""
            length = truth["lengths_mm"][name] if name else np.hypot(*(true[nearest[a]] - true[nearest[b]]))
            if abs(f.value - length) > max(RIGHT_MM, 1.2 * f.expanded):
                wrong.append(f"{f.name} {f.value - length:+.1f} (U {f.expanded:.1f})")
    if wrong:
        return "wrong", "; ".join(wrong)
    others = [f"{j} is {nearest[j]}" for j in told if nearest[j] != j]
    if others:
        return "named otherwise", "; ".join(others)
    missing = sorted(has - set(told))
    if not missing:
        return "complete", ""
    edges = all(j.startswith("plane edge") for j in missing)
    return ("but for the plane's edge" if edges else "partial"), "without " + ", ".join(missing)


def craft_said(result: Tracing, truth: dict[str, Any]) -> tuple[Counter[str], list[str]]:
    """Count what the rules of the craft say of pairs and leans against the truth, and name what is wrong."""
    if not result.traced.named:
        return Counter(), []
    found = judge_by_craft(result.traced, traced_lengths(result.untold), tolerance=USUAL_TOLERANCE)
    length = {k: v + truth.get("extra_arc_mm", {}).get(k, 0.0) for k, v in truth["lengths_mm"].items()}
    known: list[tuple[Item, float]] = []
    for pair in found.pairs:
        a, b = pair.pair.first, pair.pair.second
        if a in length and b in length:
            known.append((pair.item, length[a] - length[b]))
    known += [(n.item, truth["lean_deg"][n.side]) for n in found.leans if n.side in truth["lean_deg"]]
    counts: Counter[str] = Counter()
    wrong: list[str] = []
    for item, true in known:
        holds = abs(true) <= item.high
        said = {Verdict.CONFORMS: holds, Verdict.FAILS: not holds}.get(item.verdict)
        counts["open" if said is None else "right" if said else "wrong"] += 1
        if said is False:
            wrong.append(f"{item.name} {item.measured:+.2f} (U {item.expanded:.2f}), true {true:+.2f}")
    return counts, wrong


def photos(places: list[Path]) -> Iterator[tuple[Path, dict[str, Any]]]:
    """Photos with their truth, in order of name."""
    for place in places:
        for photo in [place] if place.is_file() else sorted(place.glob("*.jpg")):
            path = photo.with_suffix(".truth.json")
            truth = json.loads(path.read_text()) if path.exists() else {}
            if truth.get("lengths_mm") and ("joints_px" in truth or "joints_px_at_z0" in truth):
                yield photo, truth


def main(places: list[Path]) -> None:
    """Print a line per photo and the counts."""
    counts: Counter[str] = Counter()
    rules: Counter[str] = Counter()
    for photo, truth in photos(places):
        standoff = None if truth.get("doorstep") else truth["standoff_mm"] or None
        camera = photo.with_suffix(".camera.toml")
        try:
            setup = Setup(
                use=truth["use"],
                standoff_mm=standoff,
                bars_mm=truth.get("bars_read_mm"),
                camera=read_camera(camera) if camera.exists() else None,
            )
            result = measure(photo, setup)
            kind, what = judged(result, truth)
            said, errors = craft_said(result, truth)
            rules += said
            what = "; ".join(filter(None, [what, *(f"RULE {e}" for e in errors)]))
        except FoldgaugeError as err:
            kind, what = "refused", str(err)
        counts[kind] += 1
        print(f"{photo.stem:28} {kind:26} {what}", flush=True)
    total = sum(counts.values())
    print()
    for kind in ("complete", "but for the plane's edge", "partial", "named otherwise", "refused", "wrong"):
        print(f"{kind:26} {counts[kind]:4d} of {total}")
    print()
    for kind in ("right", "open", "wrong"):
        print(f"rules said {kind:15} {rules[kind]:4d} of {sum(rules.values())}")


if __name__ == "__main__":
    main([Path(a) for a in sys.argv[1:]] or [Path("sample_images")])
