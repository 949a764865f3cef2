"""Random dummies and photographs for trials, the spec file of a shot, and helpers for the sample set."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from sample_images.rendering.cards import own_linkage as linkage
from sample_images.rendering.cards.card_dummy import Build
from sample_images.rendering.cards.kinds import FOLD
from sample_images.rendering.scene.phone_camera import Sensor
from sample_images.rendering.scene.staging import Shot

CLASSES = (
    "soft", "hard", "dim", "oblique15", "defocus", "dark_card", "coloured", "white_on_white", "clutter",
    "propped", "bowed", "asymmetric", "one_sided", "lens26", "3mp",
)  # fmt: skip
"""Kinds of random photo."""


def spread(
    page: float,
    foot: float,
    fold: float,
    spacing: float,
    plane: float,
    sides: tuple[str, ...] = linkage.SIDES,
) -> dict[str, float]:
    """Lengths of an exact mechanism: leg = fold height, plane spacing = page spacing."""
    out: dict[str, float] = {}
    for s in linkage.SIDES:
        out |= {f"page {s}": page, f"foot {s}": foot, f"fold {s}": fold}
        if s in sides:
            out |= {
                f"page spacing {s}": spacing, f"plane spacing {s}": spacing,
                f"leg {s}": fold, f"plane {s}": plane,
            }  # fmt: skip
    return out


def spec_text(shot: Shot) -> str:
    """Spec file (TOML) of a shot."""
    n, b = shot.nominal, shot.build

    def num(x: float) -> str:
        return f"{x:g}"

    lines = [f'title = "{shot.title}"', 'units = "mm"', "", "[base]"]
    if n["page left"] == n["page right"]:
        lines.append(f"page = {num(n['page left'])}")
    else:
        lines += [f"page_left = {num(n['page left'])}", f"page_right = {num(n['page right'])}"]
    lines += [
        f"depth = {num(b.base_depth_mm)}", f"opening = {num(shot.nominal_opening)}",
        f"thickness = {num(b.base_mm)}", f"setback = {num(b.setback_mm)}",
        "", "[card]", f"thickness = {num(b.card_mm)}",
        f"strip_depth = {num(b.strip_depth_mm)}", f"near_end_spread = {num(shot.stated_spread_mm)}",
        "", "[fold]",
        f"left = {num(n['fold left'])}", f"right = {num(n['fold right'])}",
        f"foot_left = {num(n['foot left'])}", f"foot_right = {num(n['foot right'])}",
    ]  # fmt: skip
    for s in linkage.SIDES:
        if f"leg {s}" in n:
            lines += [
                "", f"[{s}]", f"leg = {num(n[f'leg {s}'])}",
                f"page_spacing = {num(n[f'page spacing {s}'])}",
                f"plane_spacing = {num(n[f'plane spacing {s}'])}",
            ]  # fmt: skip
    lines += ["", "[plane]"] + [f"{s} = {num(n[f'plane {s}'])}" for s in linkage.SIDES if f"plane {s}" in n]
    lines += ["", "[tolerance]", "length = 0.8", "matched = 0.8", "level = 1.0", "clearance = 1.0", ""]
    return "\n".join(lines)


def hand_made(
    nominal: Mapping[str, float], faults: Mapping[str, float], sd: float, rng: np.random.Generator
) -> dict[str, float]:
    """Return true lengths: nominal + hand-cut noise + what was done wrong on purpose."""
    return {
        k: v
        + faults.get(k, 0.0)
        + (0.0 if k.startswith("page l") or k.startswith("page r") else sd) * rng.normal()
        for k, v in nominal.items()
    }


def random_shot(kind: str, seed: int, use: str | None = None) -> Shot:
    """Random dummy and photograph of one of `CLASSES`; faults of 1-4 mm on none, one or two lengths."""
    rng = np.random.default_rng([seed, CLASSES.index(kind)])
    use = use or str(rng.choice(["arch", "backdrop"]))
    big = use == "arch" and rng.uniform() < 0.25
    paper = str(rng.choice(["a3", "tabloid"] if big else ["a4", "a4", "letter"]))
    nominal, sides, opening = _random_design(kind, use, big, rng)
    for _ in range(100):
        faults = random_faults(nominal, rng)
        lengths = hand_made(nominal, faults, 0.3, rng)
        true_opening = opening if opening == 180 else opening + rng.normal() * 1.0
        try:
            joints = linkage.solve(lengths, true_opening)
        except ValueError:
            continue
        if all(abs(x) < 9 for x in FOLD.leans_of(joints).values()):
            break
    build = _random_build(kind, sides, faults, rng)
    shot = Shot(
        name=f"{kind}-{use}-{seed:04d}", spec=f"{kind}-{use}-{seed:04d}.toml", title=f"trial {kind} {seed}",
        classes=(kind,), use=use, paper=paper, nominal=nominal, nominal_opening=opening, lengths=lengths,
        opening_deg=true_opening, faults=faults, build=build,
        print_scale=tuple(1 + rng.uniform(-0.01, 0.01, 2)), print_shift=tuple(0.4 * rng.normal(size=2)),
        roll_deg=rng.normal() * (0.25 if use == "arch" else 0.5), spine_x=rng.normal() * 4,
        gap_mm=rng.uniform(0.15, 0.3) if use == "arch" else rng.uniform(0.0, 0.6),
        curl_mm=rng.uniform(-0.2, 0.2), seed=seed * 100 + CLASSES.index(kind),
        **random_camera(kind, use, rng),
    )  # fmt: skip
    return replace(shot, **random_looks(kind, rng))


def _random_design(
    kind: str, use: str, big: bool, rng: np.random.Generator
) -> tuple[dict[str, float], tuple[str, ...], float]:
    grow = 1.4 if big else 1.0
    page = float(round(grow * rng.uniform(84, 106)))
    foot, fold = float(round(rng.uniform(9, 16))), float(round(grow * rng.uniform(26, 44)))
    spacing = float(round(grow * rng.uniform(34, 54)))
    sides = ("right",) if kind == "one_sided" else linkage.SIDES
    room = page - foot - fold
    spacing = min(spacing, room - 4.0)
    plane = float(round(min(spacing + rng.uniform(5, 22), room - rng.uniform(0, 4))))
    n = spread(page, foot, fold, spacing, plane, sides)
    if kind == "asymmetric":
        d = float(round(rng.uniform(3, 7)))
        n["foot left"], n["fold left"] = foot + d, fold - d
        n["leg left"] = n["fold left"]
    opening = 180.0
    if kind == "propped":
        opening = float(rng.choice([120.0, 135.0, 150.0]))
    return n, sides, opening


def random_faults(nominal: Mapping[str, float], rng: np.random.Generator) -> dict[str, float]:
    """Return errors of 1-4 mm on none, one or two lengths, or the plane's crease beside the ridge."""
    if "plane left" in nominal and rng.uniform() < 0.08:  # the plane glued on with its crease off the ridge
        off = float(round(rng.choice([-1, 1]) * rng.uniform(1.5, 4), 1))
        return {"plane right": off, "plane left": -off}
    can = [k for k in nominal if not k.startswith(("page left", "page right"))]
    n = int(rng.choice([0, 1, 1, 1, 2]))
    picked = rng.choice(can, n, replace=False)
    out = {}
    for k in map(str, picked):
        size = rng.uniform(1, 4)
        if k.startswith("foot"):
            size = min(size, 3.0)
        out[k] = float(round(size * rng.choice([-1, 1]), 1))
    return out


def _random_build(
    kind: str, sides: tuple[str, ...], faults: Mapping[str, float], rng: np.random.Generator
) -> Build:
    sagitta = {}
    if kind == "bowed":
        can = [f"leg {s}" for s in sides] + [f"fold {s}" for s in linkage.SIDES]
        for k in rng.choice(can, int(rng.integers(1, 4)), replace=False):
            sagitta[str(k)] = float(rng.uniform(0.4, 1.6) * rng.choice([-1, 1]))
    depth = float(round(rng.uniform(40, 90)))
    base_depth = float(round(depth + rng.uniform(5, 40)))
    return Build(
        card_mm=float(round(rng.uniform(0.25, 0.4), 2)), base_mm=float(round(rng.uniform(0.3, 0.6), 2)),
        strip_depth_mm=depth, base_depth_mm=base_depth, tab_mm=float(rng.uniform(7.5, 10)),
        inner_tabs_out=bool(rng.uniform() < 0.7), ribbons=bool(rng.uniform() < 0.5) and len(sides) == 2,
        crease_off_mm=_crease_off(faults),
        near_sd_mm=float(rng.choice([0.0, 0.3, 0.4, 0.5, 1.0], p=[0.1, 0.3, 0.3, 0.2, 0.1])),
        skew_sd_deg=float(rng.uniform(0, 0.3)), sagitta_mm=sagitta, pen_line=bool(rng.uniform() < 0.25),
    )  # fmt: skip


def _crease_off(faults: Mapping[str, float]) -> float:
    """Return how far right of the ridge the plane's crease lies, if the whole card is shifted."""
    off = faults.get("plane right", 0.0)
    return off if off != 0 and faults.get("plane left") == -off else 0.0


def random_camera(kind: str, use: str, rng: np.random.Generator) -> dict[str, Any]:
    """Return a random place, lens and focus: fields of a `Shot`."""
    f = 26.0 if kind == "lens26" else float(rng.choice([48.0, 52.0, 52.0, 65.0, 70.0, 77.0]))
    fill = rng.uniform(0.40, 0.62) if kind == "lens26" else rng.uniform(0.45, 0.80)
    elevation = rng.uniform(13, 15.5) if kind == "oblique15" else rng.uniform(2.5, 11)
    if use == "backdrop":
        fill = min(fill, 0.66)
    wrong = 1 + rng.choice([0.0, 0.0, 0.01, -0.015, 0.02, -0.025])
    defocus = 0.0
    aperture = rng.uniform(1.0, 1.8)
    if kind == "defocus":
        defocus, aperture = float(rng.choice([-1, 1]) * rng.uniform(30, 90)), 1.9
    return {
        "focal_35mm": f * (1 + 0.004 * rng.normal()), "exif_35mm": round(f * wrong), "fill": fill,
        "elevation_deg": elevation, "yaw_deg": 2.5 * rng.normal(), "tilt_deg": 1.0 * rng.normal(),
        "look": tuple(rng.uniform(-0.04, 0.04, 2)), "defocus_mm": defocus, "aperture_mm": aperture,
        "distortion": (0.03 * rng.normal(), 0.04 * rng.normal()), "centre_off": tuple(8 * rng.normal(size=2)),
        "size": (2000, 1500) if kind == "3mp" else (4000, 3000),
    }  # fmt: skip


def random_looks(kind: str, rng: np.random.Generator) -> dict[str, Any]:
    """Return random light, colours, background and sensor: fields of a `Shot`."""
    light = {"hard": "hard", "dim": "dim", "clutter": str(rng.choice(["hard", "mixed"]))}.get(
        kind, str(rng.choice(["soft", "soft", "mixed"]))
    )
    white = np.array([0.80, 0.80, 0.78]) * rng.uniform(0.9, 1.03)
    hue = rng.uniform(0.1, 0.75, 3)
    out: dict[str, Any] = {
        "light": light, "table": str(rng.choice(["wood", "grey", "light", "mat", "dark"])),
        "behind": str(rng.choice(["dark", "dark", "clutter", "nothing"])),
        "wall": tuple(rng.uniform(0.2, 0.65) * (1 + 0.06 * rng.normal(size=3))),
        "card": tuple(white), "plane": tuple(white * rng.uniform(0.93, 1.03)),
        "base": tuple(white * rng.uniform(0.9, 1.0)),
        "exposure": rng.uniform(0.5, 0.78), "core": None,
        "sensor": Sensor(
            white=1.0, gain=tuple(1 + 0.03 * rng.normal(size=3)), blur_px=rng.uniform(0.6, 0.95),
            shot=0.006, read=0.0012, sharpen=rng.uniform(0.2, 0.8), quality=int(rng.integers(88, 95)),
        ),
    }  # fmt: skip
    if kind == "dim":
        out["exposure"] = rng.uniform(0.30, 0.5)
        out["sensor"] = replace(out["sensor"], shot=0.025, read=0.008, sharpen=0.3)
    if kind == "dark_card":
        out["card"] = out["plane"] = (0.06, 0.06, 0.07)
        out["core"] = None if rng.uniform() < 0.5 else (0.35, 0.34, 0.33)
    if kind == "coloured":
        out["card"], out["plane"] = tuple(hue), tuple(rng.uniform(0.1, 0.75, 3))
        out["core"] = None if rng.uniform() < 0.5 else (0.7, 0.7, 0.68)
        if rng.uniform() < 0.5:
            out["base"] = tuple(rng.uniform(0.2, 0.7, 3))
    if kind == "white_on_white":
        out["table"], out["behind"], out["wall"] = "light", "nothing", (0.72, 0.72, 0.71)
    if kind == "clutter":
        out["behind"] = "clutter"
    return out
