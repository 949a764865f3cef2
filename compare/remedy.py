"""What to do about a fault: plain proposals, each solved again in the linkage before it is made.

Match like with like: a leg with its side of the fold, the spacing on the plane with the spacing on the page.
Sliding one to make up for an error of the other may look level at one opening and is worse at the next.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from compare.causes import Cause
from compare.design.linkage import SIDES, closing_sums
from compare.design.spec import Spec
from compare.lean import lean_of
from compare.measured import Measured, linkage_lengths
from compare.units import Unit, unit_of

KNIFE: Final = (
    "Knife: cut on a mat against a safety straightedge, the holding hand behind the blade, a fresh blade, "
    "retracted when put down."
)
CHILDREN: Final = (
    "For products meant for children follow the local toy-safety rules and have them tested by a licensed "
    "laboratory."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Remedy:
    """One proposal and what it leads to.

    Attributes
    ----------
    text : what to do, one sentence.
    changes_mm : length -> change.
    cuts : True if it needs a knife.
    lean_after_deg : side -> lean after it, at the opening of the photo.
    closing_after_mm : loop ("left", "right") -> closing sum after it.
    """

    text: str
    changes_mm: Mapping[str, float]
    cuts: bool
    lean_after_deg: Mapping[str, float]
    closing_after_mm: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class _Now:
    """Lengths as measured and as designed."""

    values: Mapping[str, float]
    nominal: Mapping[str, float]
    phi: float
    sides: tuple[str, ...]
    unit: Unit

    def show(self, mm: float) -> str:
        """Return a length in the user's unit."""
        return self.unit.words(mm)

    def solved(self, text: str, changes: Mapping[str, float], *, cuts: bool) -> Remedy:
        after = {k: v + changes.get(k, 0.0) for k, v in self.values.items()}
        lean = {
            s: lean_of({k: after[k] for k in linkage_lengths(s)}, self.phi, s)
            for s in self.sides
            if all(k in after for k in linkage_lengths(s))
        }
        loops = {k: v for k, v in closing_sums(after).items() if k in lean}
        return Remedy(
            text=text, changes_mm=dict(changes), cuts=cuts, lean_after_deg=lean, closing_after_mm=loops
        )

    def to_match(self, length: str, partner: str) -> float:
        """Return the change that makes a length match its partner as the design wants it."""
        return self.values[partner] + self.nominal[length] - self.nominal[partner] - self.values[length]


def _leg(now: _Now, side: str, size: float) -> list[Remedy]:
    leg, fold = f"leg {side}", f"fold {side}"
    change = now.to_match(leg, fold)
    target = now.values[leg] + change
    if change > 0:
        first = f"Make a new {side} leg, {now.show(target)} from fold to fold, to match its side of the fold."
    else:
        first = f"Re-score the {side} leg {now.show(-change)} shorter: {now.show(target)} from fold to fold."
    out = [now.solved(first, {leg: change}, cuts=True)]
    if change > 0:
        parts = [k for k in (f"leg {s}" for s in now.sides) if k != leg] + ["fold left", "fold right"]
        down = {k: -change for k in parts if k in now.values}
        others = "the parallel fold" + (" and the other leg" if len(parts) > 2 else "")
        text = f"Or bring {others} down to it: re-score both sides of the fold {now.show(change)} shorter"
        out.append(now.solved(text + (", the other leg too." if len(parts) > 2 else "."), down, cuts=True))
    return out


def _page_spacing(now: _Now, side: str, size: float) -> list[Remedy]:
    spacing = f"page spacing {side}"
    change = now.to_match(spacing, f"plane spacing {side}")
    way = "out" if change > 0 else "in"
    text = (
        f"Lift the {side} outer foot and glue it {now.show(abs(change))} farther {way}: "
        f"{now.show(now.values[spacing] + change)} from the inner foot."
    )
    return [now.solved(text, {spacing: change}, cuts=False)]


def _plane_spacing(now: _Now, side: str, size: float) -> list[Remedy]:
    spacing = f"plane spacing {side}"
    change = now.to_match(spacing, f"page spacing {side}")
    way = "farther from" if change > 0 else "nearer to"
    text = (
        f"Lift the top of the {side} leg and glue it {now.show(abs(change))} {way} the ridge: "
        f"{now.show(now.values[spacing] + change)} from it."
    )
    return [now.solved(text, {spacing: change}, cuts=False)]


def _plane(now: _Now, side: str, size: float) -> list[Remedy]:
    if size > 0:
        text = f"Trim {now.show(size)} off the outer edge of the plane's {side} half."
        return [now.solved(text, {f"plane {side}": -size}, cuts=True)]
    text = f"Only a new plane makes its {side} half {now.show(-size)} wider; leave it if looks allow."
    return [now.solved(text, {f"plane {side}": -size}, cuts=True)]


def _page(now: _Now, side: str, size: float) -> list[Remedy]:
    if size > 0:
        return [now.solved(f"Trim {now.show(size)} off the {side} page.", {f"page {side}": -size}, cuts=True)]
    return [now.solved(f"Only a new base makes the {side} page wider.", {f"page {side}": -size}, cuts=True)]


def _fold(now: _Now, side: str, size: float) -> list[Remedy]:
    target = now.show(now.nominal[f"fold {side}"])
    text = (
        f"Make the parallel fold anew, its {side} side {target} from foot to ridge."
        if size < 0
        else f"Re-score the {side} side of the parallel fold {now.show(size)} shorter: "
        f"{target} from foot to ridge."
    )
    return [now.solved(text, {f"fold {side}": -size}, cuts=True)]


def _shifted(cause: Cause, now: _Now) -> list[Remedy]:
    """Take the fault out as it came in: for pieces glued in the wrong place."""
    d = cause.size_mm
    way = "left" if d > 0 else "right"
    nearer = "nearer to the spine" if d > 0 else "farther from the spine"
    name, far = cause.fault.name, now.show(abs(d))
    words = {
        "crease off the ridge": f"Re-glue the plane {far} farther {way}, its crease on the ridge.",
        "fold position": f"Lift the parallel fold and glue it {now.show(abs(d))} farther {way}.",
        "ridge score": "Make the parallel fold anew, its ridge scored "
        f"{now.show(abs(d))} farther {way}: sides of {now.show(now.nominal['fold left'])} and "
        f"{now.show(now.nominal['fold right'])}.",
        "feet": f"Glue the inner feet {now.show(abs(d))} {'nearer together' if d > 0 else 'farther apart'}; "
        "measure both from the spine with a rule to see which of them.",
    }
    for s in ("left", "right"):
        words[f"foot {s}"] = f"Lift the {s} inner foot and glue it {now.show(abs(d))} {nearer}."
        words[f"feet {s}"] = f"Lift the {s} feet and glue them {now.show(abs(d))} {nearer}."
    changes = {k: -d * c for k, c in cause.fault.pattern.items()}
    return [now.solved(words[name], changes, cuts=name == "ridge score")]


_BY_LENGTH: Final[Mapping[str, Callable[[_Now, str, float], list[Remedy]]]] = {
    "leg": _leg,
    "page spacing": _page_spacing,
    "plane spacing": _plane_spacing,
    "plane": _plane,
    "page": _page,
    "fold": _fold,
}


def remedies_for(causes: Sequence[Cause], measured: Measured, spec: Spec) -> tuple[Remedy, ...]:
    """One or two proposals per cause, each solved again in the linkage."""
    now = _Now(
        {k: q.value for k, q in measured.working.items()},
        spec.lengths(),
        measured.opening.value,
        spec.sides,
        unit_of(spec.units),
    )
    out: list[Remedy] = []
    for cause in causes:
        kind, _, side = cause.fault.name.rpartition(" ")
        needed = [k for k in cause.fault.pattern if k not in now.values]
        if needed:
            continue
        partner = {"leg": "fold", "page spacing": "plane spacing", "plane spacing": "page spacing"}.get(kind)
        by_length = _BY_LENGTH.get(kind) if side in SIDES else None
        if by_length is not None and (partner is None or f"{partner} {side}" in now.values):
            out += by_length(now, side, cause.size_mm)
        elif by_length is None:
            out += _shifted(cause, now)
    return tuple(out)
