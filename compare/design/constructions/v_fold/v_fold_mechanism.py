"""A V-fold that carries a plane, with legs that copy its panels: its lengths, panels and rules."""

from typing import Final

import numpy as np

from compare.design.constructions.v_fold.carry_plane import CarryPlane, crease_of
from compare.design.constructions.v_fold.v_fold_form import VFold
from compare.design.linkage.mechanism import Half, Loop, Mechanism, Pair, Reach
from compare.design.linkage.mechanism_draft import Draft
from compare.design.linkage.steps import Pages
from compare.design.spec.parts import Base
from compare.vocabulary import Kind, equality, named, parsed
from measure.layout import Role
from measure.sides import SIDES

ANGLES: Final = (Kind.PLANE_ANGLE, Kind.GLUE_ANGLE, Kind.VFOLD_ANGLE)


def mechanism_of_vfold(base: Base, v: VFold) -> Mechanism:
    """Return the mechanism of a V-fold with its plane."""
    d = Draft()
    for s in SIDES:
        side = v.sides[s]
        foot, top = named(Kind.VFOLD_FOOT, s), named(Kind.VFOLD_TOP, s)
        outer, leg_top = named(Kind.OUTER_FOOT, s), named(Kind.LEG_TOP, s)
        d.lengths[named(Kind.GLUE_ANGLE, s)] = side.glue_deg
        d.lengths[named(Kind.VFOLD_ANGLE, s)] = side.panel_deg
        d.lengths[named(Kind.PLANE_ANGLE, s)] = side.plane_deg
        d.lengths[named(Kind.WIDTH, s)] = side.width
        across = side.width * float(np.sin(np.radians(side.glue_deg)))
        d.ends |= {
            named(Kind.VFOLD_FOOT, s): ("spine", foot),
            named(Kind.VFOLD, s): (foot, top),
            named(Kind.VFOLD_TOP, s): ("ridge", top),
        }
        d.panel(named(Kind.PAGE, s), Role.PAGE, (0.0, "spine"), (across, foot), free=True)
        d.panel(named(Kind.VFOLD, s), Role.FOLD, (0.0, foot), (v.crease, top))
        d.panel(named(Kind.PLANE, s), Role.PLANE, (0.0, "ridge"), (across, top), free=True)
        d.floors[named(Kind.VFOLD, s)] = named(Kind.PAGE, s)
        if s in v.legs:
            leg = v.legs[s]
            d.length(named(Kind.PAGE_SPACING, s), leg.page_spacing, foot, outer)
            d.length(named(Kind.PLANE_SPACING, s), leg.plane_spacing, top, leg_top)
            d.length(named(Kind.LEG, s), leg.leg, outer, leg_top)
            d.panel(named(Kind.LEG, s), Role.LEG, (0.0, outer), (leg.leg, leg_top))
            d.floors[named(Kind.LEG, s)] = named(Kind.PAGE, s)
            d.on[named(Kind.PAGE, s)].append((across + leg.page_spacing, outer))
            d.on[named(Kind.PLANE, s)].append((across + leg.plane_spacing, leg_top))
        width = v.plane.half(s)
        d.length(named(Kind.PLANE, s), width, "ridge", named(Kind.PLANE_EDGE, s))
        d.on[named(Kind.PLANE, s)].append((width, named(Kind.PLANE_EDGE, s)))
        page = base.page(s)
        d.length(named(Kind.PAGE, s), page, "spine", named(Kind.FORE_EDGE, s))
        d.on[named(Kind.PAGE, s)].append((page, named(Kind.FORE_EDGE, s)))
    d.lengths["crease"] = v.crease
    _rules(d, v)
    order = [named(kind, s) for kind in (Kind.PAGE, Kind.VFOLD) for s in SIDES]
    order += [named(Kind.LEG, s) for s in SIDES if s in v.legs] + [named(Kind.PLANE, s) for s in SIDES]
    d.one_behind_other = True
    d.degrees = frozenset(k for k in d.lengths if parsed(k).is_angle)
    d.outlines = (("vfold point", "vfold tip"), ("vfold tip", "ridge"))
    d.outlines += tuple(("vfold point", named(Kind.VFOLD_FOOT, s)) for s in SIDES)
    d.outlines += tuple(("vfold tip", named(Kind.VFOLD_TOP, s)) for s in SIDES)
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
    one, other = (tuple(named(k, s) for k in (Kind.GLUE_ANGLE, Kind.VFOLD_ANGLE)) for s in SIDES)
    d.loops.append(Loop(name="vfold", one=one, other=other))
    for s in SIDES:
        beta, alpha = np.radians(v.sides[s].glue_deg), np.radians(v.sides[s].panel_deg)
        flat = np.radians(v.sides[s].plane_deg)
        angles = (named(Kind.PLANE_ANGLE, s), named(Kind.GLUE_ANGLE, s))
        d.pairs.append(Pair(name=equality(*angles), first=angles[0], second=angles[1]))
        shut = float(np.sin(beta + alpha))  # of the crease, straight out from the spine
        weights = {"crease": shut, named(Kind.WIDTH, s): float(np.sin(beta)), named(Kind.LEG, s): shut}
        edge = named(Kind.PLANE_EDGE, s)
        d.reaches.append(Reach(side=s, joint=edge, lengths=("crease", named(Kind.PLANE, s)), weights=weights))
        if s in v.legs:
            d.reaches.append(
                Reach(
                    side=s,
                    joint=named(Kind.LEG_TOP, s),
                    lengths=(named(Kind.WIDTH, s), named(Kind.PAGE_SPACING, s), named(Kind.LEG, s)),
                    weights=weights,
                )
            )
        governs: tuple[str, ...] = ()
        for t in (s, "left" if s == "right" else "right"):  # the plane tips as a whole: any leg tells
            if t in v.legs:
                governs += (named(Kind.LEG, t), "crease")
                governs += (named(Kind.PLANE_SPACING, t), named(Kind.PAGE_SPACING, t))
        governs += tuple(named(k, t) for k in ANGLES for t in SIDES)
        half = Half(
            name=s,
            side=s,
            page=named(Kind.PAGE, s),
            plane=named(Kind.PLANE, s),
            governs=tuple(dict.fromkeys(governs)),
        )
        d.halves.append(half)
        if s not in v.legs:
            continue
        leg, on_plane, on_page = (named(k, s) for k in (Kind.LEG, Kind.PLANE_SPACING, Kind.PAGE_SPACING))
        d.pairs.append(Pair(name=equality(leg, "crease"), first=leg, second="crease"))
        d.pairs.append(Pair(name=equality(on_plane, on_page), first=on_plane, second=on_page))
        d.loops.append(
            Loop(
                name=s,
                one=("crease", on_plane),
                other=(on_page, leg),
                weights={
                    "crease": float(np.sin(alpha)),
                    leg: float(np.sin(alpha)),
                    on_plane: float(np.cos(flat)),
                    on_page: float(np.cos(beta)),
                },
            )
        )
