"""How far lengths and angles are off on photographs of known dummies, beside a plain method.

Run from the top folder: ``python tests/benchmarks/bench_accuracy.py [FOLDER ...]`` (default: sample_images).
Each folder holds NAME.jpg with NAME.truth.json and the spec it names. For every photo one line; then, over
all photos, the errors of lengths and angles, how often the stated interval (k = 2) covers the truth, and
whether the length at fault was named.

The plain method stands for what one would do without this project: a homography from the tags' corners
(OpenCV), the picture rectified, Canny edges and the probabilistic Hough transform (scikit-image), and for
every panel the segment nearest to its designed place; joints where segments cross.
"""

import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.feature import canny
from skimage.transform import probabilistic_hough_line

from capture.errors import FoldgaugeError
from capture.photo import Photo
from capture.tags import find_tags
from compare.design.layout import layout_of
from compare.inspection import Inspection, check
from measure.choose import cross_point
from measure.layout import Layout

Array = NDArray[np.float64]
PER_MM = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Error:
    """One figure: what, error and stated U (same unit), and the plain method's error (nan: none)."""

    photo: str
    use: str
    kind: str
    name: str
    error: float
    expanded: float
    plain: float


def photos(folders: list[Path]) -> Iterator[tuple[Path, dict[str, Any]]]:
    """Photos with their truth, in order of name."""
    for folder in folders:
        for truth in sorted(folder.glob("*.truth.json")):
            jpg = truth.with_name(truth.name.replace(".truth.json", ".jpg"))
            if jpg.exists():
                yield jpg, json.loads(truth.read_text())


def plain_joints(photo: Photo, inspection: Inspection, layout: Layout) -> dict[str, Array]:
    """Joints by the plain method, in sheet millimetres; those it does not find are missing."""
    sheet = inspection.sighting.sheet
    tags = find_tags(photo.grey, photo.name)
    px = tags.corners_px.reshape(-1, 2)
    mm = np.concatenate([sheet.tags[int(i)] for i in tags.ids])
    left, right, bottom, top = -150.0, 150.0, -sheet.paper_mm[1] / 2 - 12, sheet.window[3]
    to_map = np.column_stack([(mm[:, 0] - left) * PER_MM, (top - mm[:, 1]) * PER_MM])
    homography, _ = cv2.findHomography(px, to_map, cv2.RANSAC, 3.0)
    size = (int((right - left) * PER_MM), int((top - bottom) * PER_MM))
    upright = cv2.warpPerspective(photo.grey, homography, size)
    segments = probabilistic_hough_line(
        canny(upright.astype(float), sigma=2.0), threshold=20, line_length=60, line_gap=5, rng=1
    )
    ends = np.array(segments, dtype=float).reshape(-1, 2, 2)
    ends = np.stack([left + ends[..., 0] / PER_MM, top - ends[..., 1] / PER_MM], axis=-1)
    if inspection.standoff_mm:  # a homography knows no depth: shrink about the picture's middle
        eye = inspection.view.eye_mm()
        ends = eye[:2] + (ends - eye[:2]) * (eye[2] - inspection.standoff_mm) / eye[2]
    return _assemble(layout, ends, inspection)


def _assemble(layout: Layout, ends: Array, inspection: Inspection) -> dict[str, Array]:
    """Give every panel the segment nearest to its designed place (the design laid on the true feet)."""
    profile = inspection.profile
    a, b = profile.at("inner foot left"), profile.at("inner foot right")
    shift = (a + b) / 2 - (layout.at("inner foot left") + layout.at("inner foot right")) / 2
    nearest: dict[str, tuple[Array, Array]] = {}
    for panel in layout.panels:
        p, q = layout.at(panel.joints[0]) + shift, layout.at(panel.joints[-1]) + shift
        if panel.free_end and "page" in panel.name:
            q = p + (q - p) * 0.7
        middle, along = (p + q) / 2, (q - p) / np.hypot(*(q - p))
        if not len(ends):
            return {}
        d = ends[:, 1] - ends[:, 0]
        d /= np.hypot(d[:, 0], d[:, 1])[:, None]
        turn = np.degrees(np.arccos(np.clip(np.abs(d @ along), 0, 1)))
        off = np.abs((middle - ends[:, 0])[:, 0] * -d[:, 1] + (middle - ends[:, 0])[:, 1] * d[:, 0])
        cost = off + np.where(turn < 15, turn * 0.2, 1e3)
        k = int(np.argmin(cost))
        if cost[k] < 15:
            nearest[panel.name] = (ends[k, 0], d[k])
    out: dict[str, Array] = {}
    for joint in layout.joint_names:
        on = [nearest[p.name] for p in layout.panels if joint in p.joints and p.name in nearest]
        pairs = [
            (u, v)
            for i, u in enumerate(on)
            for v in on[:i]
            if abs(u[1][0] * v[1][1] - u[1][1] * v[1][0]) > 0.2
        ]
        if pairs:
            (p, v), (q, w) = pairs[0]
            out[joint] = cross_point(p[None], v[None], q[None], w[None])[0]
    return out


def errors_of(path: Path, truth: dict[str, Any], inspection: Inspection) -> list[Error]:
    """Errors of every length and lean that is both known and measured."""
    layout = layout_of(inspection.spec)
    plain = plain_joints(inspection.photo, inspection, layout)
    joints = truth["joints_mm"]
    out = []
    measured = inspection.findings.measured

    def plain_length(name: str) -> float:
        a, b = _ends(name)
        return float(np.hypot(*(plain[a] - plain[b]))) if a in plain and b in plain else float("nan")

    for name, q in measured.lengths.items():
        if name in truth["lengths_mm"]:
            true = truth["lengths_mm"][name]
            out.append(
                Error(
                    photo=path.stem,
                    use=inspection.use,
                    kind="length",
                    name=name,
                    error=q.value - true,
                    expanded=2 * measured.u(q),
                    plain=plain_length(name) - true,
                )
            )
    exact = {k: np.array(v) for k, v in joints.items()}
    for name, q in measured.angles.items():
        kind, _, side = name.partition(" ")
        if kind in ("fold", "leg") and f"outer foot {side}" in exact:
            true = _to_page(exact, _ends(name), side)
            seen = all(j in plain for j in (*_ends(name), *_ends(f"page spacing {side}")))
            by_plain = _to_page(plain, _ends(name), side) - true if seen else float("nan")
            out.append(
                Error(
                    photo=path.stem,
                    use=inspection.use,
                    kind="angle",
                    name=name,
                    error=float(np.degrees(q.value)) - true,
                    expanded=float(np.degrees(2 * measured.u(q))),
                    plain=by_plain,
                )
            )
    for side, q in measured.lean.items():
        true = truth["lean_deg"].get(side)
        by_plain = float("nan")
        feet = (f"outer foot {side}", f"inner foot {side}")
        plane = _ends(f"plane spacing {side}")
        if true is not None and all(j in plain for j in (*plane, *feet)):
            by_plain = _to_page(plain, plane, side) - _to_page(exact, plane, side)
        if true is not None:
            out.append(
                Error(
                    photo=path.stem,
                    use=inspection.use,
                    kind="lean",
                    name=side,
                    error=np.degrees(q.value) - true,
                    expanded=float(np.degrees(2 * measured.u(q))),
                    plain=by_plain,
                )
            )
    return out


def _ends(name: str) -> tuple[str, str]:
    side = name.split()[-1]
    ends = {
        "fold": ("inner foot", "ridge"),
        "leg": ("outer foot", "leg top"),
        "page spacing": ("inner foot", "outer foot"),
        "plane spacing": ("ridge", "leg top"),
        "plane": ("ridge", "plane edge"),
        "foot": ("spine", "inner foot"),
        "page": ("spine", "fore edge"),
    }
    if name == "feet":
        return "inner foot left", "inner foot right"
    a, b = ends[name.rsplit(" ", 1)[0]]
    return tuple(j if j in ("ridge", "spine") else f"{j} {side}" for j in (a, b))  # type: ignore[return-value]


def _to_page(joints: dict[str, Array], ends: tuple[str, str], side: str) -> float:
    """Angle of a panel to its own page, degrees, counted from the page toward the inside."""
    panel = joints[ends[1]] - joints[ends[0]]
    page = joints[f"outer foot {side}"] - joints[f"inner foot {side}"]
    turn = np.degrees(np.arctan2(panel[1], panel[0]) - np.arctan2(page[1], page[0]))
    turn = (turn + 180) % 360 - 180
    return float(turn if side == "right" else -turn)


def named(inspection: Inspection, truth: dict[str, Any]) -> str:
    """Whether the fault put into the dummy is the one the answer speaks of."""
    if not truth["faults"]:
        return f"no fault put in: {inspection.verdict.value}"
    faults = ", ".join(f"{f['length']} {f['error_mm']:+.1f}" for f in truth["faults"])
    return f"put in: {faults}"


def summary(title: str, rows: list[Error], limit: float) -> str:
    """One line of the closing table."""
    if not rows:
        return f"{title:28s} none"
    e = np.abs([r.error for r in rows])
    u = np.array([r.expanded for r in rows])
    plain = np.abs([r.plain for r in rows])
    found = np.isfinite(plain)
    return (
        f"{title:28s} n {len(e):4d}  median {np.median(e):.3f}  95 % {np.percentile(e, 95):.3f}  "
        f"<= {limit} {np.mean(e <= limit):6.1%}  U median {np.median(u):.2f} covers {np.mean(e <= u):6.1%} | "
        f"plain: found {np.mean(found):4.0%} median {np.median(plain[found]) if found.any() else np.nan:.2f} "
        f"95 % {np.percentile(plain[found], 95) if found.any() else np.nan:.2f}"
    )


def main() -> None:
    """Print the table."""
    args = [a for a in sys.argv[1:] if not a.startswith("-")]
    folders = [Path(p) for p in args] or [Path("sample_images")]
    bars = "--no-bars" not in sys.argv
    rows: list[Error] = []
    for path, truth in photos(folders):
        spec = path.with_name(truth["spec"]) if truth.get("spec") else None
        if spec is None:
            continue
        try:
            inspection = check(
                path,
                spec,
                use=truth["use"] if truth["use"] in ("arch", "backdrop") else "auto",
                standoff_mm=truth["standoff_mm"] or None,
                bars_mm=tuple(truth["bars_read_mm"]) if bars and truth.get("bars_read_mm") else None,
            )
        except FoldgaugeError as problem:
            print(f"{path.stem:26s} refused: {problem}")
            continue
        new = errors_of(path, truth, inspection)
        rows += new
        lengths = np.abs([r.error for r in new if r.kind == "length"])
        print(
            f"{path.stem:26s} {inspection.use:8s} lengths worst {lengths.max():.2f} median "
            f"{np.median(lengths):.2f} | {named(inspection, truth)} | {inspection.answer}"
        )
    print()
    for kind, limit in (("length", 0.3), ("angle", 0.3), ("lean", 0.3)):
        for use in ("arch", "backdrop"):
            title = f"{kind}, {use} ({'mm' if kind == 'length' else 'degrees'})"
            print(summary(title, [r for r in rows if r.kind == kind and r.use == use], limit))
    outside = [r for r in rows if abs(r.error) > 1.5 * r.expanded]
    for r in outside:
        print(f"beyond 1.5 U: {r.photo} {r.kind} {r.name}: {r.error:+.2f}, U {r.expanded:.2f}")


if __name__ == "__main__":
    main()
