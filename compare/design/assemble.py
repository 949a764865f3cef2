"""From trade terms to a mechanism: parallel folds, parallelograms, supports, flaps, stages."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from compare.design.mechanism import Half, Loop, Mechanism, Pair, Reach
from compare.design.parts import Base, Construction
from compare.design.steps import Corner, Dyad, Legs, Pages, Place, Prop, Step
from measure.layout import Panel, Role

SIDES: Final = ("left", "right")
LAYERS_PER_STAGE: Final = 2  # card thicknesses between the tab under a plane and a tab on top of it


@dataclass(slots=True)
class Draft:
    """A mechanism in the making."""

    lengths: dict[str, float] = field(default_factory=dict)
    ends: dict[str, tuple[str, str]] = field(default_factory=dict)
    steps: list[Step] = field(default_factory=list)
    loops: list[Loop] = field(default_factory=list)
    pairs: list[Pair] = field(default_factory=list)
    halves: list[Half] = field(default_factory=list)
    reaches: list[Reach] = field(default_factory=list)
    floors: dict[str, str] = field(default_factory=dict)
    roles: dict[str, Role] = field(default_factory=dict)
    free: set[str] = field(default_factory=set)
    on: dict[str, list[tuple[float, str]]] = field(default_factory=dict)
    lifts: dict[str, int] = field(default_factory=dict)
    degrees: frozenset[str] = frozenset()
    outlines: tuple[tuple[str, ...], ...] = ()

    def length(self, name: str, mm: float, a: str, b: str) -> None:
        """Add a length and the joints it joins."""
        self.lengths[name] = mm
        self.ends[name] = (a, b)

    def panel(self, name: str, role: Role, *joints: tuple[float, str], free: bool = False) -> None:
        """Add a panel with its joints and their nominal distances along it."""
        self.roles[name] = role
        self.on.setdefault(name, []).extend(joints)
        if free:
            self.free.add(name)

    def place(self, joint: str, panel: str, start: str, terms: Sequence[str], at: float) -> None:
        """Lay a joint on a panel already laid."""
        self.steps.append(Place(joint, panel, start, dict.fromkeys(terms, 1.0)))
        self.on[panel].append((at, joint))

    def finished(self, order: Sequence[str]) -> Mechanism:
        """Return the mechanism, its panels in this order."""
        panels = []
        for name in order:
            joints = [j for _, j in sorted(self.on[name], key=lambda item: item[0])]
            panels.append(
                Panel(
                    name=name,
                    joints=tuple(dict.fromkeys(joints)),
                    role=self.roles[name],
                    free_end=name in self.free,
                )
            )
        return Mechanism(
            lengths=self.lengths,
            ends=self.ends,
            panels=tuple(panels),
            loops=tuple(self.loops),
            pairs=tuple(self.pairs),
            halves=tuple(self.halves),
            reaches=tuple(self.reaches),
            floors=self.floors,
            steps=tuple(self.steps),
            lifts=self.lifts,
            degrees=self.degrees,
            outlines=self.outlines,
        )


@dataclass(frozen=True, slots=True)
class _Ground:
    """What a construction stands on: a prefix for its names, its spine, its pages, how far out they start."""

    prefix: str
    spine: str
    pages: dict[str, str]
    shut: dict[str, tuple[str, ...]]  # lengths from the base's spine to this spine, by side, when shut
    governs: tuple[str, ...]
    layers: int

    def name(self, text: str) -> str:
        """Return a name with the stage in front."""
        return f"{self.prefix}{text}"


def leg_names(count: int) -> tuple[str, ...]:
    """Return "" for one leg, " 1", " 2", ... for several, from the ridge outwards."""
    return ("",) if count == 1 else tuple(f" {i + 1}" for i in range(count))


def _lengths(d: Draft, c: Construction, g: _Ground, base: Base | None) -> None:
    """All lengths of a construction, in the order they are reported."""
    n = g.name
    for side in SIDES:
        if side in c.supports:
            support = c.supports[side]
            d.length(n(f"support foot {side}"), support.foot, g.spine, n(f"support foot {side}"))
            d.length(
                n(f"support {side}"), support.length, n(f"support foot {side}"), n(f"support top {side}")
            )
            d.length(n(f"support tab {side}"), abs(support.tab), n("ridge"), n(f"support top {side}"))
        else:
            inner = n(f"inner foot {side}")
            d.length(n(f"foot {side}"), getattr(c.fold, f"foot_{side}"), g.spine, inner)
            d.length(n(f"fold {side}"), getattr(c.fold, side), inner, n("ridge"))
        legs = c.legs[side]
        for leg, i in zip(legs, leg_names(len(legs)), strict=True):
            outer, top = n(f"outer foot{i} {side}"), n(f"leg top{i} {side}")
            d.length(n(f"page spacing{i} {side}"), leg.page_spacing, n(f"inner foot {side}"), outer)
            d.length(n(f"plane spacing{i} {side}"), leg.plane_spacing, n("ridge"), top)
            d.length(n(f"leg{i} {side}"), leg.leg, outer, top)
        width: float = getattr(c.plane, side)
        if width > 0:
            d.length(n(f"plane {side}"), width, n("ridge"), n(f"plane edge {side}"))
        if side in c.flaps:
            flap = c.flaps[side]
            hinge, end = n(f"flap hinge {side}"), n(f"strap end {side}")
            d.length(n(f"flap hinge {side}"), flap.hinge, g.spine, hinge)
            d.length(n(f"flap {side}"), flap.flap, hinge, end)
            d.length(n(f"strap {side}"), flap.strap, n(f"plane edge {side}"), end)
        if base is not None:
            d.length(f"page {side}", getattr(base, f"page_{side}"), "spine", f"fore edge {side}")


def _feet(d: Draft, c: Construction, g: _Ground) -> None:
    """Inner feet, outer feet, hinges: joints on the pages below."""
    n = g.name
    for side in SIDES:
        page = g.pages[side]
        if side in c.supports:
            name = n(f"support foot {side}")
            d.place(name, page, g.spine, (name,), c.supports[side].foot)
            d.lifts[name] = g.layers
            continue
        foot: float = getattr(c.fold, f"foot_{side}")
        d.place(n(f"inner foot {side}"), page, g.spine, (n(f"foot {side}"),), foot)
        d.lifts[n(f"inner foot {side}")] = g.layers
        for leg, i in zip(c.legs[side], leg_names(len(c.legs[side])), strict=True):
            terms = (n(f"foot {side}"), n(f"page spacing{i} {side}"))
            d.place(n(f"outer foot{i} {side}"), page, g.spine, terms, foot + leg.page_spacing)
            d.lifts[n(f"outer foot{i} {side}")] = g.layers
        if side in c.flaps:
            hinge = n(f"flap hinge {side}")
            d.place(hinge, page, g.spine, (hinge,), c.flaps[side].hinge)
            d.lifts[hinge] = g.layers
    near = {s: n(f"support foot {s}" if s in c.supports else f"inner foot {s}") for s in SIDES}
    d.ends[n("feet")] = (near["left"], near["right"])


def _tent(d: Draft, g: _Ground) -> None:
    """Add the parallel fold over the spine below."""
    n = g.name
    d.steps.append(
        Corner(
            arms=(g.pages["right"], g.pages["left"]),
            a={n("foot right"): 1.0},
            b={n("foot left"): 1.0},
            at_p=n("inner foot right"),
            at_q=n("inner foot left"),
            p=(n("fold right"), {n("fold right"): 1.0}),
            q=(n("fold left"), {n("fold left"): 1.0}),
            meet=n("ridge"),
        )
    )
    d.loops.append(
        Loop(
            name=n("feet"),
            one=(n("foot left"), n("fold left")),
            other=(n("foot right"), n("fold right")),
            words=(n("foot + fold, left"), n("foot + fold, right")),
        )
    )


def _corner(side: str, g: _Ground, i: str) -> Corner:
    """Return the four-bar of one leg: page, fold, leg, plane half."""
    n = g.name
    page, fold = g.pages[side], n(f"fold {side}")
    leg, plane = n(f"leg{i} {side}"), n(f"plane {side}")
    on_page, on_plane = n(f"page spacing{i} {side}"), n(f"plane spacing{i} {side}")
    outer, top = n(f"outer foot{i} {side}"), n(f"leg top{i} {side}")
    if side == "right":
        return Corner(
            arms=(page, fold),
            a={on_page: 1.0},
            b={fold: 1.0},
            at_p=outer,
            at_q=n("ridge"),
            p=(leg, {leg: 1.0}),
            q=(plane, {on_plane: 1.0}),
            meet=top,
        )
    return Corner(
        arms=(fold, page),
        a={fold: 1.0},
        b={on_page: 1.0},
        at_p=n("ridge"),
        at_q=outer,
        p=(plane, {on_plane: 1.0}),
        q=(leg, {leg: 1.0}),
        meet=top,
    )


def _half(d: Draft, c: Construction, g: _Ground, side: str) -> None:
    """One half of the plane on its legs."""
    n = g.name
    names = leg_names(len(c.legs[side]))
    if len(names) == 1:
        d.steps.append(_corner(side, g, names[0]))
    else:
        d.steps.append(
            Legs(
                plane=n(f"plane {side}"),
                ridge=n("ridge"),
                legs=tuple(
                    (
                        n(f"leg{i} {side}"),
                        n(f"outer foot{i} {side}"),
                        n(f"leg top{i} {side}"),
                        n(f"leg{i} {side}"),
                        n(f"plane spacing{i} {side}"),
                    )
                    for i in names
                ),
                outer=_corner(side, g, names[-1]),
            )
        )


def _rules(d: Draft, c: Construction, g: _Ground, side: str) -> None:
    """Pairs and loops of one half, and what governs it."""
    n = g.name
    fold = n(f"fold {side}")
    governs: list[str] = []
    for i in leg_names(len(c.legs[side])):
        leg, plane, page = n(f"leg{i} {side}"), n(f"plane spacing{i} {side}"), n(f"page spacing{i} {side}")
        governs += [leg, fold, plane, page]
        d.pairs.append(Pair(name=f"{n(f'leg{i}')} = fold {side}", first=leg, second=fold))
        d.pairs.append(
            Pair(name=f"{n(f'plane spacing{i}')} = page spacing{i} {side}", first=plane, second=page)
        )
        d.loops.append(
            Loop(
                name=n(f"{side}{i and ', leg' + i}"),
                one=(fold, plane),
                other=(page, leg),
                words=("fold + plane spacing", "page spacing + leg"),
            )
        )
    other = "left" if side == "right" else "right"
    feet = [n(f"foot {side}")]
    if other in c.supports:
        feet += [n(f"support foot {other}"), n(f"support {other}"), n(f"support tab {other}")]
    else:
        feet += [n(f"foot {other}"), n(f"fold {other}")]
    d.halves.append(
        Half(
            name=n(side),
            side=side,
            page=f"page {side}",
            plane=n(f"plane {side}"),
            governs=tuple(dict.fromkeys([*governs, *feet, *g.governs])),
        )
    )


def _panels(d: Draft, c: Construction, g: _Ground) -> None:
    """Panels above the pages, with their joints."""
    n = g.name
    for side in SIDES:
        page = g.pages[side]
        if side in c.supports:
            foot, top = n(f"support foot {side}"), n(f"support top {side}")
            length = c.supports[side].length
            d.panel(n(f"support {side}"), Role.LEG, (0.0, foot), (length, top))
            d.floors[n(f"support {side}")] = page
            continue
        d.panel(
            n(f"fold {side}"),
            Role.FOLD,
            (0.0, n(f"inner foot {side}")),
            (getattr(c.fold, side), n("ridge")),
        )
        d.floors[n(f"fold {side}")] = page
        for leg, i in zip(c.legs[side], leg_names(len(c.legs[side])), strict=True):
            top = n(f"leg top{i} {side}")
            name = n(f"leg{i} {side}")
            d.panel(name, Role.LEG, (0.0, n(f"outer foot{i} {side}")), (leg.leg, top))
            d.floors[name] = page
            d.lifts[top] = g.layers
        d.lifts[n("ridge")] = g.layers
    for side in SIDES:
        width: float = getattr(c.plane, side)
        if width <= 0:
            continue
        plane = n(f"plane {side}")
        d.panel(plane, Role.PLANE, (0.0, n("ridge")), free=side not in c.flaps)
        for leg, i in zip(c.legs[side], leg_names(len(c.legs[side])), strict=True):
            d.on[plane].append((leg.plane_spacing, n(f"leg top{i} {side}")))
        other = "left" if side == "right" else "right"
        if other in c.supports:
            d.on[plane].append((c.supports[other].tab, n(f"support top {other}")))
        if side in c.flaps:
            flap, strap, end = n(f"flap {side}"), n(f"strap {side}"), n(f"strap end {side}")
            d.panel(flap, Role.FOLD, (0.0, n(f"flap hinge {side}")), (c.flaps[side].flap, end))
            d.panel(strap, Role.LEG, (0.0, n(f"plane edge {side}")), (c.flaps[side].strap, end))
            d.floors[flap] = g.pages[side]
            d.lifts[end] = g.layers


def _propped(d: Draft, c: Construction, g: _Ground, prop: str) -> None:
    """Plane on a parallelogram of one side and a support from the other (`prop`)."""
    n = g.name
    own = "left" if prop == "right" else "right"
    inside = c.supports[prop].tab >= 0
    d.steps.append(
        Prop(
            sign=1.0 if own == "right" else -1.0,
            own_page=g.pages[own],
            other_page=g.pages[prop],
            foot={n(f"foot {own}"): 1.0},
            support_foot={n(f"support foot {prop}"): 1.0},
            fold=(n(f"fold {own}"), n(f"fold {own}")),
            leg=(n(f"leg {own}"), n(f"leg {own}")),
            spacing_page=n(f"page spacing {own}"),
            spacing_plane=n(f"plane spacing {own}"),
            plane=n(f"plane {own}"),
            support=(n(f"support {prop}"), n(f"support {prop}")),
            tab=n(f"support tab {prop}"),
            tab_sign=1.0 if inside else -1.0,
            at_foot=n(f"inner foot {own}"),
            at_outer=n(f"outer foot {own}"),
            at_support=n(f"support foot {prop}"),
            ridge=n("ridge"),
            leg_top=n(f"leg top {own}"),
            support_top=n(f"support top {prop}"),
        )
    )
    tab = (n(f"support tab {prop}"),)
    d.loops.append(
        Loop(
            name=n(f"support {prop}"),
            one=(n(f"support foot {prop}"), n(f"support {prop}"), *(() if inside else tab)),
            other=(n(f"foot {own}"), n(f"fold {own}"), *(tab if inside else ())),
            words=(
                "support foot + support" + ("" if inside else " + support tab"),
                "foot + fold" + (" + support tab" if inside else ""),
            ),
        )
    )


def _edges(d: Draft, c: Construction, g: _Ground, side: str) -> None:
    """Outer edge of a half, and the flap it pulls."""
    n = g.name
    edge, plane = n(f"plane edge {side}"), n(f"plane {side}")
    d.place(edge, plane, n("ridge"), (plane,), getattr(c.plane, side))
    d.lifts[edge] = g.layers
    if side not in c.flaps:
        return
    flap, strap = n(f"flap {side}"), n(f"strap {side}")
    hinge = n(f"flap hinge {side}")
    d.steps.append(
        Dyad(
            at_p=hinge,
            at_q=edge,
            p=(flap, {flap: 1.0}),
            q=(strap, {strap: 1.0}),
            meet=n(f"strap end {side}"),
            side=-1 if side == "right" else 1,
        )
    )
    d.loops.append(
        Loop(
            name=flap,
            one=(n(f"foot {side}"), n(f"fold {side}"), plane, strap),
            other=(hinge, flap),
            words=("foot + fold + plane + strap", "flap hinge + flap"),
        )
    )


def _reaches(d: Draft, c: Construction, g: _Ground) -> None:
    """Chains that lie stretched outwards when shut."""
    n = g.name
    for side in SIDES:
        if side in c.supports:
            chain = (*g.shut[side], n(f"support foot {side}"), n(f"support {side}"))
            d.reaches.append(Reach(side=side, joint=n(f"support top {side}"), lengths=chain, words="support"))
            continue
        foot, fold = n(f"foot {side}"), n(f"fold {side}")
        ridge = (*g.shut[side], foot, fold)
        d.reaches.append(Reach(side=side, joint=n("ridge"), lengths=ridge, words=f"the {n('ridge')}"))
        if getattr(c.plane, side) > 0:
            edge = n(f"plane edge {side}")
            words = f"the {n('plane')}'s {side} edge" if not g.prefix else f"the {edge}"
            d.reaches.append(Reach(side=side, joint=edge, lengths=(*ridge, n(f"plane {side}")), words=words))
        for i in leg_names(len(c.legs[side])):
            leg = (*g.shut[side], foot, n(f"page spacing{i} {side}"), n(f"leg{i} {side}"))
            top = n(f"leg top{i} {side}")
            d.reaches.append(
                Reach(side=side, joint=top, lengths=leg, words=f"the top of the {side} {n(f'leg{i}')}")
            )
        if side in c.flaps:
            flap = (*g.shut[side], n(f"flap hinge {side}"), n(f"flap {side}"))
            end = n(f"strap end {side}")
            d.reaches.append(Reach(side=side, joint=end, lengths=flap, words=f"the {side} flap"))


def mechanism_of_stages(base: Base, constructions: Sequence[Construction]) -> Mechanism:
    """Return the mechanism of a construction on the base and of others, each on the plane below it."""
    d = Draft()
    d.steps.append(Pages())
    for side in SIDES:
        d.panel(f"page {side}", Role.PAGE, (0.0, "spine"), free=True)
    d.lifts["spine"] = 0
    ground = _Ground("", "spine", {s: f"page {s}" for s in SIDES}, {s: () for s in SIDES}, (), 0)
    order = [f"page {s}" for s in SIDES]
    for k, c in enumerate(constructions, start=1):
        n = ground.name
        _lengths(d, c, ground, base if k == 1 else None)
        _panels(d, c, ground)
        _feet(d, c, ground)
        props = [s for s in SIDES if s in c.supports]
        if props:
            _propped(d, c, ground, props[0])
        else:
            _tent(d, ground)
        for side in SIDES:
            if c.legs[side]:
                if not props:
                    _half(d, c, ground, side)
                _rules(d, c, ground, side)
                _edges(d, c, ground, side)
        _reaches(d, c, ground)
        order += [n(f"fold {s}") for s in SIDES if s not in c.supports]
        order += [n(f"support {s}") for s in SIDES if s in c.supports]
        order += [n(f"leg{i} {s}") for s in SIDES for i in leg_names(len(c.legs[s]))]
        order += [n(f"plane {s}") for s in SIDES if getattr(c.plane, s) > 0]
        order += [n(f"{p} {s}") for s in SIDES if s in c.flaps for p in ("flap", "strap")]
        if k == 1:
            for side in SIDES:
                at: float = getattr(base, f"page_{side}")
                d.place(f"fore edge {side}", f"page {side}", "spine", (f"page {side}",), at)
        if k < len(constructions):
            ground = _Ground(
                prefix=f"stage {k + 1} ",
                spine=n("ridge"),
                pages={s: n(f"plane {s}") for s in SIDES},
                shut={s: (*ground.shut[s], n(f"foot {s}"), n(f"fold {s}")) for s in SIDES},
                governs=tuple(
                    dict.fromkeys(g for h in d.halves if h.name in (n("left"), n("right")) for g in h.governs)
                ),
                layers=ground.layers + LAYERS_PER_STAGE,
            )
    return d.finished(order)
