"""Random sound designs for trials, and their spec files: the parallel fold, and what is built upon it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from sample_images.rendering.cards.kinds import FOLD, Kind
from sample_images.rendering.cards.own_linkage import SIDES
from sample_images.rendering.cards.planar_kinds import FLAPS, LEGS, STAGES, STAGES_CARD_MM, SUPPORT
from sample_images.rendering.cards.spatial_kinds import VFOLD, VFOLD_NEAR_MM
from sample_images.rendering.chance.catalogue import spread


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """A design: its kind, its lengths (mm), and the lines of its spec file after [card].

    Attributes
    ----------
    card_mm : card that it must be made of, None = any. ribbons : may be glued from ribbons.
    """

    name: str
    kind: Kind
    nominal: Mapping[str, float]
    text: tuple[str, ...]
    card_mm: float | None = None
    ribbons: bool = False


def _half(x: float) -> float:
    return round(2 * x) / 2


def _table(name: str, **values: float) -> list[str]:
    return ["", f"[{name}]" if not name.startswith("+") else f"[[{name[1:]}]]"] + [
        f"{k} = {v:g}" for k, v in values.items()
    ]


def _fold_lines(n: Mapping[str, float], stage: str = "", table: str = "") -> list[str]:
    out = _table(
        f"{table}fold", left=n[f"{stage}fold left"], right=n[f"{stage}fold right"],
        foot_left=n[f"{stage}foot left"], foot_right=n[f"{stage}foot right"],
    )  # fmt: skip
    for s in SIDES:
        if f"{stage}leg {s}" in n:
            out += _leg_lines(n, f"{stage}{{}} {s}", f"{table}{s}")
    ends = {s: n[f"{stage}plane {s}"] for s in SIDES if f"{stage}plane {s}" in n}
    return out + _table(f"{table}plane", **ends)


def _leg_lines(n: Mapping[str, float], name: str, table: str) -> list[str]:
    of = {k: n[name.format(k.replace("_", " "))] for k in ("leg", "page_spacing", "plane_spacing")}
    return _table(table, **of)


def _plain(rng: np.random.Generator, sides: tuple[str, ...] = SIDES, grow: float = 1.0) -> dict[str, float]:
    foot, fold = _half(rng.uniform(10, 32) * grow), _half(rng.uniform(30, 52) * grow)
    fold = max(fold, _half(1.3 * foot + 4))
    spacing = _half(rng.uniform(25, 46) * grow)
    plane = spacing + _half(rng.uniform(5, 18))
    page = float(round(foot + fold + plane + rng.uniform(1.5, 12)))
    return spread(page, foot, fold, spacing, plane, sides)


def fold_design(rng: np.random.Generator, *, grow: float = 1.0) -> Design:
    """Return a parallel fold with a plane: even, uneven, on one side, or with a half that rises by design."""
    form = str(rng.choice(["even", "uneven", "one side", "rising"], p=[0.55, 0.2, 0.13, 0.12]))
    sides = (str(rng.choice(SIDES)),) if form == "one side" else SIDES
    n = _plain(rng, sides, grow)
    if form == "uneven":
        d = float(round(rng.uniform(4, 9)))
        n["foot left"] += d
        n["fold left"] -= d
        n["leg left"] = n["fold left"]
        if n["fold left"] < 1.15 * n["foot left"]:
            n["foot left"], n["fold left"] = n["foot left"] - 2 * d, n["fold left"] + 2 * d
            n["leg left"] = n["fold left"]
        if n["foot left"] < 7 or n["fold left"] < 1.15 * n["foot left"]:
            return fold_design(rng, grow=grow)
    if form == "rising":
        s = str(rng.choice(SIDES))
        d = float(round(rng.uniform(3, 8)))
        for k in ("leg", "plane spacing", "plane"):
            n[f"{k} {s}"] += d
        n["page left"] = n["page right"] = n["page left"] + d
    return Design(
        name=form, kind=FOLD, nominal=n, text=tuple(_fold_lines(n)), ribbons=form in ("even", "uneven")
    )


def legs_design(rng: np.random.Generator) -> Design:
    """Return a fold with two legs under its right half."""
    n = _plain(rng)
    far = n["page spacing right"] = n["plane spacing right"] = max(n["page spacing right"], 40.0)
    n["plane right"] = far + 6.0
    n["page left"] = n["page right"] = max(n["page left"], n["foot right"] + n["fold right"] + far + 9.0)
    for k in ("page spacing right", "plane spacing right", "leg right"):
        del n[k]
    for i, at in ((1, _half(0.48 * far)), (2, far)):
        n |= {
            f"page spacing {i} right": at,
            f"plane spacing {i} right": at,
            f"leg {i} right": n["fold right"],
        }
    lines = _table(
        "fold",
        left=n["fold left"],
        right=n["fold right"],
        foot_left=n["foot left"],
        foot_right=n["foot right"],
    )
    lines += _leg_lines(n, "{} left", "left")
    for i in (1, 2):
        lines += _leg_lines(n, f"{{}} {i} right", "+right.legs")
    lines += _table("plane", left=n["plane left"], right=n["plane right"])
    return Design(name="two legs", kind=LEGS, nominal=n, text=tuple(lines))


def stages_design(rng: np.random.Generator) -> Design:
    """Return three stages, one on another."""
    a, b, c = rng.integers(-2, 3, 3)
    own = spread(124.0, 12.0 + a, 38.0 + b, 50.0, 56.0)
    n = dict(own)
    for stage, sizes in (
        ("stage 2 ", (8.0, 22.0 + b, 28.0, 34.0)),
        ("stage 3 ", (6.0, 15.0 + c, 14.0, 20.0)),
    ):
        n |= {
            f"{stage}{k}": v for k, v in spread(0, *sizes).items() if not k.startswith(("page l", "page r"))
        }
    lines = _fold_lines(n)
    for stage in ("stage 2 ", "stage 3 "):
        lines += ["", "[[stage]]", *_fold_lines(n, stage, "stage.")]
    return Design(name="stages", kind=STAGES, nominal=n, text=tuple(lines), card_mm=STAGES_CARD_MM)


def support_design(rng: np.random.Generator) -> Design:
    """Return a parallelogram on the right, held by a plain support on the left."""
    a, b = rng.integers(-3, 4, 2)
    n = {
        "page left": 112.0, "page right": 112.0, "foot right": 12.0, "fold right": 37.0 + a,
        "page spacing right": 46.0 + b, "plane spacing right": 46.0 + b, "leg right": 37.0 + a,
        "plane right": 54.0 + b, "support foot left": 10.0, "support left": 33.0 + a, "support tab left": 6.0,
    }  # fmt: skip
    lines = _table("fold", right=n["fold right"], foot_right=n["foot right"])
    lines += _table(
        "left", support=n["support left"], foot=n["support foot left"], tab=-n["support tab left"]
    )
    lines += _leg_lines(n, "{} right", "right") + _table("plane", right=n["plane right"])
    return Design(name="support", kind=SUPPORT, nominal=n, text=tuple(lines))


def flaps_design(rng: np.random.Generator) -> Design:
    """Return a fold with flaps that the plane pulls up."""
    a, b = rng.integers(-2, 3, 2)
    n = spread(118.0, 10.0, 32.0 + a, 44.0 + b, 48.0 + b)
    n |= {
        name.format(s): v for s in SIDES
        for name, v in (("flap hinge {}", 80.0 + b), ("flap {}", 34.0 + a), ("strap {}", 24.0))
    }  # fmt: skip
    lines = _fold_lines(n)
    for s in SIDES:
        lines += _table(f"{s}.flap", hinge=n[f"flap hinge {s}"], flap=n[f"flap {s}"], strap=n[f"strap {s}"])
    return Design(name="flaps", kind=FLAPS, nominal=n, text=tuple(lines))


def vfold_design(rng: np.random.Generator) -> Design:
    """Return a V-fold that carries a plane, a leg on each side (flat base only)."""
    high, spacing = _half(rng.uniform(28, 42)), _half(rng.uniform(26, 40))
    plane = spacing + 28.5 + _half(rng.uniform(5, 10))
    page = float(round(max(plane, high + 28.0 + spacing) + rng.uniform(4, 14)))
    n = {
        name.format(s): v for s in SIDES for name, v in (
            ("page {}", page), ("vfold foot {}", VFOLD_NEAR_MM), ("vfold {}", high), ("leg {}", high),
            ("page spacing {}", spacing), ("plane spacing {}", spacing), ("plane {}", plane),
        )
    }  # fmt: skip
    lines = _table("vfold", crease=high, near=VFOLD_NEAR_MM)
    for s in SIDES:
        lines += _table(f"vfold.{s}", glue_angle=45.0, angle=90.0, width=40.0)
    for s in SIDES:
        lines += _leg_lines(n, f"{{}} {s}", s)
    lines += _table("plane", left=plane, right=plane)
    return Design(name="vfold", kind=VFOLD, nominal=n, text=tuple(lines))


BUILT_UP: tuple[Callable[[np.random.Generator], Design], ...] = (
    legs_design, stages_design, support_design, flaps_design, vfold_design,
)  # fmt: skip
"""Designs beyond the fold with a leg on each side."""
