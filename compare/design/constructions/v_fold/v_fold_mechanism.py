"""A V-fold that carries a plane, with legs that copy its panels: its lengths, panels and rules."""

import numpy as np

from compare.design.constructions.v_fold.carry_plane import CarryPlane, crease_of
from compare.design.constructions.v_fold.v_fold_form import VFold
from compare.design.linkage.mechanism import Half, Loop, Mechanism, Pair, Reach
from compare.design.linkage.mechanism_draft import Draft
from compare.design.linkage.steps import Pages
from compare.design.spec.parts import Base
from measure.layout import Role
from measure.sides import SIDES


def mechanism_of_vfold(base: Base, v: VFold) -> Mechanism:
    """Return the mechanism of a V-fold with its plane."""
    d = Draft()
    for s in SIDES:
        side = v.sides[s]
        foot, top, outer, leg_top = f"vfold foot {s}", f"vfold top {s}", f"outer foot {s}", f"leg top {s}"
        d.lengths[f"glue angle {s}"] = side.glue_deg
        d.lengths[f"vfold angle {s}"] = side.panel_deg
        d.lengths[f"plane angle {s}"] = side.plane_deg
        d.lengths[f"width {s}"] = side.width
        across = side.width * float(np.sin(np.radians(side.glue_deg)))
        d.ends |= {
            f"vfold foot {s}": ("spine", foot),
            f"vfold {s}": (foot, top),
            f"vfold top {s}": ("ridge", top),
        }
        d.panel(f"page {s}", Role.PAGE, (0.0, "spine"), (across, foot), free=True)
        d.panel(f"vfold {s}", Role.FOLD, (0.0, foot), (v.crease, top))
        d.panel(f"plane {s}", Role.PLANE, (0.0, "ridge"), (across, top), free=True)
        d.floors[f"vfold {s}"] = f"page {s}"
        if s in v.legs:
            leg = v.legs[s]
            d.length(f"page spacing {s}", leg.page_spacing, foot, outer)
            d.length(f"plane spacing {s}", leg.plane_spacing, top, leg_top)
            d.length(f"leg {s}", leg.leg, outer, leg_top)
            d.panel(f"leg {s}", Role.LEG, (0.0, outer), (leg.leg, leg_top))
            d.floors[f"leg {s}"] = f"page {s}"
            d.on[f"page {s}"].append((across + leg.page_spacing, outer))
            d.on[f"plane {s}"].append((across + leg.plane_spacing, leg_top))
        width = v.plane.half(s)
        d.length(f"plane {s}", width, "ridge", f"plane edge {s}")
        d.on[f"plane {s}"].append((width, f"plane edge {s}"))
        page = base.page(s)
        d.length(f"page {s}", page, "spine", f"fore edge {s}")
        d.on[f"page {s}"].append((page, f"fore edge {s}"))
    d.lengths["crease"] = v.crease
    _rules(d, v)
    order = [f"{kind} {s}" for kind in ("page", "vfold") for s in SIDES]
    order += [f"leg {s}" for s in SIDES if s in v.legs] + [f"plane {s}" for s in SIDES]
    d.one_behind_other = True
    d.degrees = frozenset(k for k in d.lengths if "angle" in k)
    d.outlines = (("vfold point", "vfold tip"), ("vfold tip", "ridge"))
    d.outlines += tuple(("vfold point", f"vfold foot {s}") for s in SIDES)
    d.outlines += tuple(("vfold tip", f"vfold top {s}") for s in SIDES)
    half = np.array(np.radians(base.opening_deg) / 2)
    rad = {
        s: (np.array(np.radians(v.sides[s].glue_deg)), np.array(np.radians(v.sides[s].panel_deg)))
        for s in SIDES
    }
    k, _ = crease_of(half, {s: rad[s][0] for s in SIDES}, {s: rad[s][1] for s in SIDES})
    d.steps += [
        Pages(),
        CarryPlane(
            near=v.near,
            ridge=v.near - v.crease * float(k[2]),
            widths={s: v.sides[s].width for s in SIDES},
            legs=tuple(v.legs),
        ),
    ]
    return d.finished(order)


def _rules(d: Draft, v: VFold) -> None:
    """Pairs, loops and halves of a V-fold with its plane."""
    one, other = (tuple(f"{k} {s}" for k in ("glue angle", "vfold angle")) for s in SIDES)
    sums = ("glue angle + vfold angle, left", "glue angle + vfold angle, right")
    d.loops.append(Loop(name="vfold", one=one, other=other, words=sums))
    for s in SIDES:
        beta, alpha = np.radians(v.sides[s].glue_deg), np.radians(v.sides[s].panel_deg)
        flat = np.radians(v.sides[s].plane_deg)
        angles = (f"plane angle {s}", f"glue angle {s}")
        d.pairs.append(Pair(name=f"plane angle = glue angle {s}", first=angles[0], second=angles[1]))
        shut = float(np.sin(beta + alpha))  # of the crease, straight out from the spine
        weights = {"crease": shut, f"width {s}": float(np.sin(beta)), f"leg {s}": shut}
        edge, words = f"plane edge {s}", f"the plane's {s} edge"
        d.reaches.append(
            Reach(side=s, joint=edge, lengths=("crease", f"plane {s}"), words=words, weights=weights)
        )
        if s in v.legs:
            d.reaches.append(
                Reach(
                    side=s,
                    joint=f"leg top {s}",
                    lengths=(f"width {s}", f"page spacing {s}", f"leg {s}"),
                    words=f"the top of the {s} leg",
                    weights=weights,
                )
            )
        governs: tuple[str, ...] = ()
        for t in (s, "left" if s == "right" else "right"):  # the plane tips as a whole: any leg tells
            if t in v.legs:
                governs += (f"leg {t}", "crease", f"plane spacing {t}", f"page spacing {t}")
        governs += tuple(f"{k} angle {t}" for k in ("plane", "glue", "vfold") for t in SIDES)
        half = Half(
            name=s, side=s, page=f"page {s}", plane=f"plane {s}", governs=tuple(dict.fromkeys(governs))
        )
        d.halves.append(half)
        if s not in v.legs:
            continue
        leg, on_plane, on_page = f"leg {s}", f"plane spacing {s}", f"page spacing {s}"
        d.pairs.append(Pair(name=f"leg = crease {s}", first=leg, second="crease"))
        d.pairs.append(Pair(name=f"plane spacing = page spacing {s}", first=on_plane, second=on_page))
        d.loops.append(
            Loop(
                name=s,
                one=("crease", on_plane),
                other=(on_page, leg),
                words=("seen along the glue line, vfold + plane spacing", "page spacing + leg"),
                weights={
                    "crease": float(np.sin(alpha)),
                    leg: float(np.sin(alpha)),
                    on_plane: float(np.cos(flat)),
                    on_page: float(np.cos(beta)),
                },
            )
        )
