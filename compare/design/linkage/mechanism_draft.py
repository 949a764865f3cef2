"""A mechanism in the making: lengths, panels and steps are added, then it is finished."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from compare.design.linkage.mechanism import Half, Loop, Mechanism, Pair, Reach
from compare.design.linkage.steps import Place, Step
from compare.vocabulary import named, parsed
from measure.layout import Panel, Role


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
    one_behind_other: bool = False
    glued_at: str = ""

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
                    side=parsed(name).side,
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
            one_behind_other=self.one_behind_other,
            glued_at=self.glued_at,
        )


@dataclass(frozen=True, slots=True)
class Ground:
    """What a construction stands on: its stage, its spine, its pages, how far out they start."""

    stage: int  # 1 on the base, 2 on its plane ...
    spine: str
    pages: dict[str, str]
    shut: dict[str, tuple[str, ...]]  # lengths from the base's spine to this spine, by side, when shut
    governs: tuple[str, ...]
    layers: int

    def name(self, kind: str, side: str = "", number: int = 0) -> str:
        """Spell the name of something of this stage."""
        return named(kind, side, number, stage=self.stage)
