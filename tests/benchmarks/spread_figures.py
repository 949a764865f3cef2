"""What counts in an accuracy table: errors of one photo's check against its truth, and their sums by class.

Works on the JSON that `foldgauge check --json` prints and on truth files, nothing else.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

PANELS = ("fold", "leg", "plane", "support", "flap", "strap", "vfold", "strip", "roof")
SPINE = ("foot", "hinge")
SIDES = {"L": "left", "R": "right"}
FAULTS = {
    "A_base": "page spacing",
    "A_plane": "plane spacing",
    "B_leg": "leg",
    "c": "foot",
    "B": "fold",
    "w": "plane",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One figure told of a photo. `kind`: "length", "spine" (counted from the spine) or "lean"."""

    photo: str
    group: str
    kind: str
    name: str
    true: float
    nominal: float
    error: float
    expanded: float
    verdict: str
    conforms: bool | None


@dataclass(slots=True, kw_only=True)
class Outcome:
    """All that is counted of one photo."""

    photo: str
    group: str
    figures: list[Figure] = field(default_factory=list)
    refused: str = ""
    panels: int = 0
    missing: list[str] = field(default_factory=list)
    good: bool | None = None
    accused: str = ""
    false_conforms: list[str] = field(default_factory=list)
    faulty: bool = False
    fault_first: bool = False
    answer: str = ""
    seconds: float = 0.0


def group_of(name: str, truth: Mapping[str, Any]) -> str:
    """Class of a photo: the first the truth tells, else the name up to its number."""
    if truth.get("page_thickness_mm") is not None and truth.get("classes"):
        return str(truth["classes"][0])
    found = re.match(r"([a-z_0-9]+?)[-_](?:arch-|backdrop-)?\d+", name)
    return found[1] if found else "samples"


def kind_of(name: str) -> str:
    """Whether a length is counted from the spine, which a photo hardly shows."""
    return "spine" if any(w in name for w in SPINE) or name in ("page left", "page right") else "length"


def is_panel(name: str) -> bool:
    """Whether a length is that of a whole panel."""
    words = re.sub(r"^stage \d ", "", name).split()
    return words[0] in PANELS and words[1:2] != ["spacing"] and not {"foot", "hinge", "tab"} & set(words)


def fault_names(truth: Mapping[str, Any]) -> set[str] | None:
    """Names of the lengths that are wrong on purpose; None if one has no name of its own here."""
    if "faults" in truth:
        return {f["length"] for f in truth["faults"]}
    fault = truth.get("fault")
    if not fault:
        return set()
    found = re.fullmatch(r"s(\d)\.(?:([LR])\d\.)?([A-Za-z_]+?)(?:_([LR]))?", fault["name"])
    if not found or found[3] not in FAULTS:
        return None
    stage = "" if found[1] == "1" else f"stage {found[1]} "
    return {f"{stage}{FAULTS[found[3]]} {SIDES[found[2] or found[4]]}"}


def pair_value(name: str, lengths: Mapping[str, float]) -> float | None:
    """Return the true value of an item that compares lengths; None if it is not one of the known ones."""
    found = re.fullmatch(r"(.*?)(leg|plane spacing) = (fold|page spacing) (left|right)", name)
    if found:
        a, b = (f"{found[1]}{found[k]} {found[4]}" for k in (2, 3))
        return lengths[a] - lengths[b] if a in lengths and b in lengths else None
    found = re.fullmatch(r"(.*?)closing sum (left|right)", name)
    if found:
        names = [f"{found[1]}{k} {found[2]}" for k in ("fold", "plane spacing", "page spacing", "leg")]
        if all(n in lengths for n in names):
            a, b, c, d = (lengths[n] for n in names)
            return a + b - c - d
    return None


def outcome_of(photo: str, truth: Mapping[str, Any], told: Mapping[str, Any] | None, refused: str) -> Outcome:
    """Set what was told of a photo (`told`: parsed JSON, None if it was refused) beside the truth."""
    out = Outcome(photo=photo, group=group_of(photo, truth))
    faults = fault_names(truth)
    # lengths run along the middle of the card, bowed or not
    true = {k: v + truth.get("extra_arc_mm", {}).get(k, 0.0) for k, v in truth["lengths_mm"].items()}
    out.faulty = bool(faults)
    if told is None:
        out.refused = refused or "refused"
        return out
    out.answer = told["answer"] or ""
    out.panels = sum(is_panel(n) for n in true)
    out.missing = [n for n in true if is_panel(n) and n not in told["lengths"]]
    for name, item in told["lengths"].items():
        if name in true:
            out.figures.append(_figure(out, kind_of(name), name, true[name], item))
    for side, item in told["lean"].items():
        lean = truth["lean_deg"].get(side, truth["lean_deg"].get(side.removeprefix("plane ")))
        if lean is not None:
            out.figures.append(_figure(out, "lean", side, lean, item))
    within = [f.conforms for f in out.figures if f.conforms is not None and f.kind != "spine"]
    for name, item in told["pairs"].items():
        value = pair_value(name, true)
        if value is not None and item.get("limits"):
            within.append(_inside(value - item["nominal"], item["limits"]))
    nominal = truth.get("nominal_mm", {})
    within += [abs(true[k] - nominal[k]) <= 0.5 for k in nominal if k in true and kind_of(k) == "length"]
    causes = told["diagnosis"]["causes"] if told.get("diagnosis") else []
    named = [c for c in causes if c["named"]]
    if faults is not None and not faults:
        out.good = all(within)
        if out.good and (told["verdict"] == "does not conform" or named):
            out.accused = "; ".join(c["sentence"] for c in named) or str(told["verdict"])
    out.false_conforms = [f.name for f in out.figures if f.verdict == "conforms" and f.conforms is False] + (
        ["verdict"] if told["verdict"] == "conforms" and not all(within) else []
    )
    if faults and causes:
        out.fault_first = _is_fault(causes[0]["name"], faults)
    return out


def _inside(deviation: float, limits: Sequence[float | None]) -> bool:
    low, high = limits
    return (low is None or deviation >= low) and (high is None or deviation <= high)


def _figure(out: Outcome, kind: str, name: str, true: float, item: Mapping[str, Any]) -> Figure:
    nominal = item.get("nominal")
    limits = item.get("limits")
    known = nominal is not None and limits is not None
    return Figure(
        photo=out.photo, group=out.group, kind=kind, name=name, true=true,
        nominal=float("nan") if nominal is None else nominal, error=item["measured"] - true,
        expanded=item["U"], verdict=item.get("verdict", ""),
        conforms=_inside(true - nominal, limits) if known else None,
    )  # fmt: skip


def _is_fault(cause: str, faults: set[str]) -> bool:
    """Whether a cause's name is (one of) what was done wrong; a foot too far out is one fault of the feet."""
    if cause in faults and not ({"plane left", "plane right"} <= faults):
        return True
    if cause.startswith("crease"):
        return {"plane left", "plane right"} <= faults
    stage = re.match(r"(stage \d )?", cause)
    assert stage is not None
    return ("feet" in cause or "foot" in cause) and any(f.startswith(f"{stage[0]}foot") for f in faults)


HEADS = (
    "class", "photos", "lengths median", "95 %", "covers", "U median", "leans 95 %", "covers", "feet 95 %",
    "panels missing", "refused", "accused / good", "wrongly non-conforming", "false conforms", "fault first",
)  # fmt: skip


def row(group: str, outcomes: Sequence[Outcome]) -> list[str]:
    """One line of the table."""
    figures = [f for o in outcomes for f in o.figures]
    measured = [o for o in outcomes if not o.refused]

    def of(kind: str) -> tuple[str, str, str, str]:
        part = [f for f in figures if f.kind == kind]
        if not part:
            return "-", "-", "-", "-"
        e, u = np.abs([f.error for f in part]), np.array([f.expanded for f in part])
        return (
            f"{np.median(e):.2f}", f"{np.percentile(e, 95):.2f}", f"{np.mean(e <= u):.1%}",
            f"{np.median(u):.2f}",
        )  # fmt: skip

    def share(n: int, total: int) -> str:
        return f"{n / total:.1%}" if total else "-"

    median, most, covers, u = of("length")
    _, lean, lean_covers, _ = of("lean")
    conforming = [f for f in figures if f.kind == "length" and f.conforms]
    wrong = sum(f.verdict == "does not conform" for f in conforming)
    good = [o for o in measured if o.good]
    faulty = [o for o in measured if o.faulty]
    return [
        group, str(len(outcomes)), median, most, covers, u, lean, lean_covers, of("spine")[1],
        share(sum(len(o.missing) for o in measured), sum(o.panels for o in measured)),
        share(len(outcomes) - len(measured), len(outcomes)),
        f"{sum(bool(o.accused) for o in good)} / {len(good)}", f"{wrong} / {len(conforming)}",
        str(sum(len(o.false_conforms) for o in measured)),
        share(sum(o.fault_first for o in faulty), len(faulty)),
    ]  # fmt: skip


def table(outcomes: Sequence[Outcome]) -> list[list[str]]:
    """Head, one line per class, and all together."""
    groups = sorted({o.group for o in outcomes})
    lines = [list(HEADS)] + [row(g, [o for o in outcomes if o.group == g]) for g in groups]
    return lines + ([row("all", outcomes)] if len(groups) > 1 else [])


def markdown(lines: Sequence[Sequence[str]]) -> str:
    """Table in Markdown."""
    head, *rest = lines
    return "\n".join(f"| {' | '.join(line)} |" for line in (head, ["---"] * len(head), *rest)) + "\n"
