"""Random photographs of real spreads: set back on their page, on any board, propped, inked, with sill or not.

What is chosen at random, and how widely, is meant to be what people do; the truth file says all of it.
"""

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

import numpy as np

from capture.sheet.marker_sheet import sheet_for_paper
from sample_images.rendering.cards.card_dummy import Build
from sample_images.rendering.cards.inked_ends import Ink
from sample_images.rendering.cards.kinds import Joints, Kind
from sample_images.rendering.cards.own_linkage import SIDES
from sample_images.rendering.cards.spatial_kinds import VFOLD
from sample_images.rendering.chance.catalogue import hand_made, random_camera, random_faults, random_looks
from sample_images.rendering.chance.random_constructions import BUILT_UP, Design, fold_design
from sample_images.rendering.scene.laid_paper import Folded, Laid, Lie
from sample_images.rendering.scene.staging import Shot, stage
from sample_images.rendering.scene.standing import Standing

SPREADS: Final = (
    "spread", "spread_ink", "board", "board_ink", "raised", "raised_ink", "folded", "folded_ink",
    "sill", "sill_ink", "doorstep", "doorstep_ink",
)  # fmt: skip
"""Kinds of random photo of a real spread."""

HAND_SD_MM: Final = 0.15
"""How far hand-cut lengths are off where nothing is wrong on purpose (standard deviation)."""

FAULTY: Final = 0.65
"""Share of dummies that may have something done wrong on purpose (four in five of these then have)."""

LIGHTS: Final = (
    ("soft", 0.50), ("hard", 0.12), ("dim", 0.07), ("defocus", 0.06), ("white_on_white", 0.09),
    ("clutter", 0.09), ("coloured", 0.07),
)  # fmt: skip
"""Light, background and focus, with their shares."""


def random_spread(kind: str, seed: int) -> tuple[Shot, str]:
    """Return a random dummy on a spread of its own, photographed as `kind` says, and its spec file's text."""
    rng = np.random.default_rng([seed, 101, SPREADS.index(kind)])
    base, _, inked = kind.partition("_")
    names, shares = zip(*LIGHTS, strict=True)
    looks = str(rng.choice(names, p=shares))
    if inked and looks == "coloured":
        looks = "soft"
    use = "backdrop" if base == "doorstep" or (base == "spread" and rng.uniform() < 0.4) else "arch"
    opening = float(rng.integers(90, 173)) if base == "raised" else 180.0
    for _ in range(200):
        design = _design(base, rng)
        faults = random_faults(design.nominal, rng) if rng.uniform() < FAULTY else {}
        if any(k.startswith("vfold foot") for k in faults):
            continue  # its glue lines would no longer be those of the design
        lengths = hand_made(design.nominal, faults, HAND_SD_MM, rng)
        true_opening = opening + 0.5 * rng.normal() if opening < 180 else _flat(design, rng)
        try:
            joints = design.kind.solve(lengths, true_opening)
            design.kind.solve(design.nominal, opening)
        except ValueError:
            continue
        if all(abs(x) < 9 for x in design.kind.leans_of(joints).values()) and _as_cut(
            design.kind, joints, lengths
        ):
            break
    else:
        raise ValueError(f"{kind} {seed}: no dummy found that closes")
    build = _build(base, bool(inked), design, faults, seed, rng)
    paper = _paper(design, use, rng)
    standing, build = _standing(base, use, paper, design, true_opening, build, rng)
    name = f"{kind}-{use}-{seed:04d}"
    shot = Shot(
        name=name, spec=f"{name}.toml", title=f"trial {kind} {seed}", classes=(kind, looks, design.name),
        kind=design.kind, use=use, paper=paper, nominal=design.nominal, nominal_opening=opening,
        lengths=lengths, opening_deg=true_opening, faults=faults, build=build,
        print_scale=tuple(1 + rng.uniform(-0.01, 0.004, 2)), print_shift=tuple(0.4 * rng.normal(size=2)),
        roll_deg=rng.normal() * 0.25, spine_x=rng.normal() * 3, gap_mm=_gap(use, build, rng),
        curl_mm=rng.uniform(-0.3, 0.3), seed=seed * 100 + 20 + SPREADS.index(kind), standing=standing,
        told=_told(base, build, rng), calibrated=bool(rng.uniform() < 0.3),
        stated_spread_mm=0.5, **_camera(looks, use, paper, base, rng),
    )  # fmt: skip
    shot = replace(shot, **random_looks(looks, rng))
    shot = replace(shot, base=_page_colour(shot, rng), behind=str(rng.choice(["dark", "nothing", "nothing"])))
    if inked:  # a light background is asked for where ends are inked; not all keep to it
        shot = replace(shot, behind="dark" if rng.uniform() < 0.15 else "nothing")
    if looks == "clutter":
        shot = replace(shot, behind="clutter")
    if base in ("folded", "sill"):
        own = base == "sill"
        shot = replace(shot, sill=_folded(own, rng), sill_print=own, spine_x=0.0)
    if base == "doorstep":
        shot = replace(shot, doorstep=_laid(build, rng), sill_print=bool(rng.uniform() < 0.5))
    shot = framed(shot)
    return shot, spread_text(shot, design)


def spread_text(shot: Shot, design: Design) -> str:
    """Spec file of a spread: page, card and what the design says; the page's thickness only if it is told."""
    n, b = shot.nominal, shot.build
    told = b.base_mm if shot.told == "true" else shot.told
    lines = [
        f'title = "{shot.title}"', 'units = "mm"', "", "[base]", f"page_left = {n['page left']:g}",
        f"page_right = {n['page right']:g}", f"depth = {b.base_depth_mm:g}",
        f"opening = {shot.nominal_opening:g}", *([f"thickness = {told:g}"] if told is not None else []),
        "", "[card]", f"thickness = {b.card_mm:.2g}", f"strip_depth = {b.strip_depth_mm:g}", *design.text,
        "", "[tolerance]", "length = 0.5", "",
    ]  # fmt: skip
    return "\n".join(lines)


def framed(shot: Shot) -> Shot:
    """Step back until the near ends and all paper lying on the page are in the picture."""
    for _ in range(40):
        at = stage(shot)
        must = list(at.points.values())
        for p in (*at.pieces, *at.steps):
            must += [p.origin + 0.8 * u * p.along + 0.9 * p.depth_mm * p.forward for u in p.span]
        px = at.camera.view().project(np.array(must))
        seen = at.camera.view().project(np.column_stack([at.sheet.saddles, np.zeros(len(at.sheet.saddles))]))
        wide, high = shot.size
        inside = ((seen > 12) & (seen < np.array([wide, high]) - 12)).all(axis=1)
        if (px > 25).all() and (px < np.array([wide, high]) - 25).all() and inside.mean() > 0.6:
            return shot
        shot = replace(shot, fill=0.97 * shot.fill, look=(0.9 * shot.look[0], 0.9 * shot.look[1]))
    raise ValueError(f"{shot.name}: does not fit into the picture")


def _as_cut(kind: Kind, joints: Joints, lengths: Mapping[str, float]) -> bool:
    """Whether the dummy shows the lengths it was cut to: no card too long for its place, unless it bows."""
    built = kind.lengths_of(joints)
    bows = kind.bows(joints, lengths)
    along = {k: v + 8 * bows.get(k, 0.0) ** 2 / (3 * v) for k, v in built.items()}
    return all(abs(along[k] - v) < 0.4 for k, v in lengths.items() if k in along)


def _design(base: str, rng: np.random.Generator) -> Design:
    if base != "raised" and rng.uniform() < 0.2:
        return BUILT_UP[int(rng.integers(len(BUILT_UP)))](rng)
    return fold_design(rng)


def _flat(design: Design, rng: np.random.Generator) -> float:
    """Return the opening of a spread laid flat: board springs up a little at its fore edges."""
    if design.kind is VFOLD:
        return 180.0
    return 180.0 - min(abs(0.25 * rng.normal()), 0.7)


def _build(
    base: str, inked: bool, design: Design, faults: dict[str, float], seed: int, rng: np.random.Generator
) -> Build:
    strip = float(rng.integers(30, 61))
    setback = float(round(rng.uniform(5, 60), 1))
    if base == "board" or (base == "spread" and rng.uniform() < 0.15):
        setback = float(np.clip(0.5 * rng.normal(), -1.2, 1.2))
    off = faults.get("plane right", 0.0)
    shifted = off != 0 and faults.get("plane left") == -off
    panels = [k for k in design.kind.panels if not k.startswith(("page", "plane"))]
    return Build(
        card_mm=design.card_mm or float(round(rng.uniform(0.25, 0.4), 2)),
        base_mm=float(rng.choice([0.2, 0.3, 0.4, 0.8, 1.2, 1.5, 2.0])),
        strip_depth_mm=strip, base_depth_mm=float(round(strip + max(setback, 0.0) + rng.uniform(5, 30))),
        setback_mm=setback, tab_mm=5.5 if design.name == "stages" else float(rng.uniform(7.5, 10)),
        inner_tabs_out=bool(rng.uniform() < 0.7), ribbons=design.ribbons and bool(rng.uniform() < 0.3),
        crease_off_mm=off if shifted else 0.0,
        near_sd_mm=float(rng.choice([0.0, 0.25, 0.5, 1.0], p=[0.25, 0.25, 0.35, 0.15])),
        skew_sd_deg=float(rng.uniform(0, 0.3)),
        sagitta_mm={k: float(0.15 * rng.normal()) for k in panels},
        ink=Ink(
            spread_mm=float(rng.uniform(0.0, 0.1)), gaps=float(rng.choice([0.0, 0.0, 0.03, 0.08])),
            thin=float(rng.uniform(0, 0.25)), page=bool(rng.uniform() < 0.8), seed=seed,
            forgotten=(str(rng.choice(panels)),) if rng.uniform() < 0.06 else (),
        ) if inked else None,
    )  # fmt: skip


def _paper(design: Design, use: str, rng: np.random.Generator) -> str:
    wide = max(design.nominal["page left"], design.nominal["page right"])
    if design.name == "stages" or wide > 125 or (use == "arch" and rng.uniform() < 0.12):
        return str(rng.choice(["a3", "tabloid"]))
    return str(rng.choice(["a4", "a4", "a4", "letter"]))


def _standing(
    base: str, use: str, paper: str, design: Design, opening: float, build: Build, rng: np.random.Generator
) -> tuple[Standing, Build]:
    turn, lean = (
        float(np.clip(0.35 * rng.normal(), -0.7, 0.7)),
        float(np.clip(0.25 * rng.normal(), -0.6, 0.6)),
    )
    window = sheet_for_paper(paper).window[2]
    half = (180.0 - opening) / 2
    tip = 0.0
    if base == "raised":
        tip = half * float(rng.choice([-1.0, 1.0, rng.uniform(-0.6, 0.6)], p=[0.35, 0.35, 0.3]))
        reach = max(
            design.nominal[f"page {s}"] * math.cos(math.radians(half + (tip if s == "right" else -tip)))
            for s in SIDES
        )
        if use == "arch" and reach > window - 8 and build.setback_mm > 1:
            flush = float(np.clip(0.6 * rng.normal(), -1.2, 1.2))
            build = replace(build, setback_mm=flush, base_depth_mm=build.strip_depth_mm + 10)
    wide = min(design.nominal["page left"], design.nominal["page right"])
    on_page = use == "arch" and base != "raised" and (wide > window + 2 or base in ("folded", "sill"))
    return Standing(turn_deg=turn, lean_deg=lean, tip_deg=tip, on_page=on_page), build


def _gap(use: str, build: Build, rng: np.random.Generator) -> float:
    if use == "backdrop":
        return float(rng.uniform(0.0, 0.6))
    foremost = 1.6 * build.near_sd_mm
    if abs(build.setback_mm) < 2:
        foremost = max(foremost, build.setback_mm)
    return foremost * float(rng.uniform(0.5, 1.0)) + float(rng.uniform(0.1, 0.6))


def _told(base: str, build: Build, rng: np.random.Generator) -> float | str | None:
    return None if rng.uniform() < (0.5 if base == "board" else 0.35) else "true"


def _camera(looks: str, use: str, paper: str, base: str, rng: np.random.Generator) -> dict[str, Any]:
    out = random_camera(looks, use, rng)
    wide = sheet_for_paper(paper).paper_mm[0]
    scale = math.exp(rng.uniform(math.log(6.5), math.log(13.0)))
    most = 0.75 if use == "backdrop" else 0.98
    low = 5.0 if base in ("folded", "sill", "doorstep") else 3.0
    return out | {
        "fill": min(scale * wide / 4000, most), "elevation_deg": float(rng.uniform(low, 15.0)),
        "aperture_mm": 1.9 if looks == "defocus" else float(rng.uniform(0.8, 1.4)),
    }  # fmt: skip


def _page_colour(shot: Shot, rng: np.random.Generator) -> tuple[float, float, float]:
    """Page white as the card, tinted, or a coloured board."""
    if shot.classes[1] == "white_on_white" or rng.uniform() < 0.6:
        return shot.base
    if rng.uniform() < 0.5:
        r, g, b = np.clip(np.array(shot.base) * (1 - rng.uniform(0, 0.25, 3)), 0, 1)
    else:
        r, g, b = rng.uniform(0.08, 0.6, 3)
    return float(r), float(g), float(b)


def _lie(settles: float, coin: bool, rng: np.random.Generator) -> Lie:
    """Return how a piece lies: a coin takes most of its spring and bow."""
    share = 0.4 if coin else 1.0
    return Lie(
        springs_deg=share * float(min(abs(0.5 * rng.normal()), 1.5)),
        bow_mm=share * float(0.08 * rng.normal()),
        settles=1 - share * (1 - settles), coin=coin,
    )  # fmt: skip


def _folded(own: bool, rng: np.random.Generator) -> Folded:
    """Fold by hand: along the scored line of a sheet with a sill, else by eye."""
    settles = float(rng.uniform(0.6, 1.0))
    coin = own and bool(rng.uniform() < 0.6)
    return Folded(
        off_mm=float((0.25 if own else 0.5) * rng.normal()), turn_deg=float(0.03 * rng.normal()),
        floats_mm=float(abs(0.06 * rng.normal())), tick_off_mm=float(0.35 * rng.normal()),
        lies=tuple(_lie(settles, coin, rng) for _ in range(2 if own else 1)),
    )  # fmt: skip


def _laid(build: Build, rng: np.random.Generator) -> Laid:
    """Lay a doorstep down by hand, its far edge against the foremost near ends."""
    coin = bool(rng.uniform() < 0.6)
    return Laid(
        gap_mm=1.6 * build.near_sd_mm * float(rng.uniform(0.5, 1.0)) + float(rng.uniform(0.0, 0.3)),
        turn_deg=float(0.25 * rng.normal()), floats_mm=float(abs(0.05 * rng.normal())),
        tick_off_mm=float(0.35 * rng.normal()),
        lies=tuple(_lie(float(rng.uniform(0.6, 1.0)), coin, rng) for _ in range(2)),
    )  # fmt: skip
