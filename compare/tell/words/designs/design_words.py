"""What there is to say of a design in plain words: a clause for each fact (`compare.design.design_facts`)."""

from collections.abc import Sequence
from functools import singledispatch
from typing import Final

import numpy as np

from compare.design.constructions.pillar.pillar_building import LeansOnTheWay, TipsPart
from compare.design.constructions.stages.stages_soundness import RedundantLegs
from compare.design.constructions.v_fold.v_fold_building import LegsDecide, Travels
from compare.design.design_facts import (
    Contact,
    DepthUnknown,
    Fact,
    Jams,
    Leaning,
    LegDisagrees,
    LittleRoomShut,
    Meeting,
    ObliqueByDesign,
    OpensTo,
    PassesThrough,
    SticksOutAtEnd,
    SticksOutMoving,
    Unclosed,
)
from compare.design.spec.spec import Spec
from compare.design.study.design_fixes import Fix, fix_for, worst_of
from compare.design.study.soundness import CLOSING_SLACK, warnings_of
from compare.design.study.tolerance import Study
from compare.tell.words.name_words import two_sums
from compare.tell.words.plain_words import capital
from compare.units import Unit, unit_of
from compare.vocabulary import Kind, parsed

AS_GOOD_AS_SHUT: Final = 5.0  # degrees; no stack of card notices
MOST: Final = 0.9  # share of dummies that must be level and clear for praise to stand alone


@singledispatch
def told(fact: Fact, unit: Unit) -> str:
    """Return a fact of a design as a clause without its full stop, lengths in this unit.

    Raises
    ------
    TypeError : a fact that no clause was written for.
    """
    raise TypeError(f"no words for {type(fact).__name__}")


def all_told(facts: Sequence[Fact], spec: Spec) -> tuple[str, ...]:
    """Return several facts of a design, each as a clause, in the unit of its spec."""
    return tuple(told(fact, unit_of(spec.units)) for fact in facts)


def warnings_told(spec: Spec) -> tuple[str, ...]:
    """Return what the design will do that its author may not want."""
    return all_told(warnings_of(spec), spec)


def praise(spec: Spec) -> str:
    """Return what to say of a design without concerns."""
    n, pairs = spec.mechanism.lengths, spec.mechanism.pairs
    if not pairs:
        return "it shuts flat and clear"
    matched = all(abs(n[p.first] - n[p.second]) <= CLOSING_SLACK for p in pairs)
    return f"every {'matched pair agrees' if matched else 'sum closes'}, it shuts flat and clear"


def fix_told(fix: Fix, unit: Unit) -> str:
    """Say which number to change: "Change [left] leg to 40 mm"."""
    if fix.in_degrees:
        return f"Change [{fix.table}] {fix.key} to {round(fix.value, 2):g} degrees"
    return f"Change [{fix.table}] {fix.key} to {_plain(fix.value, unit)}"


def with_fix(spec: Spec, fact: Fact) -> str:
    """Return a fault with the number to change."""
    unit = unit_of(spec.units)
    fix = fix_for(spec, fact)
    return f"{told(fact, unit)}." + (f" {fix_told(fix, unit)}." if fix else "")


def falls_short(study: Study | None) -> bool:
    """Whether so few of the dummies studied are level and clear that no praise may stand alone."""
    return study is not None and any(np.isfinite(r.within) for r in study.results) and study.conform < MOST


def headline(spec: Spec, found: Sequence[Fact], study: Study | None = None) -> str:
    """Return the one line that says whether a design is sound: what is worst, and what to change.

    Parameters
    ----------
    found : its concerns; study : how it scatters, if that was asked for.
    """
    if found:
        said = with_fix(spec, worst_of(found))
        more = f" ({len(found) - 1} more below.)" if len(found) > 1 else ""
        return f"{capital(said)}{more}"
    if study is not None and falls_short(study):
        return (
            "As drawn it shuts flat and clear, but cut with this scatter only "
            f"{100 * study.conform:.0f} % of dummies are level and clear."
        )
    said = praise(spec)
    return f"{capital(said)}."


def _plain(mm: float, unit: Unit) -> str:
    """Return a length as a spec has it, with its unit."""
    return f"{unit.plain(mm)} {unit.name}"


def _signed(mm: float, unit: Unit) -> str:
    return ("+" if mm > 0 else "-") + _plain(abs(mm), unit)


def contact_told(contact: Contact | None) -> str:
    """Say what touches what; "" if nothing is known."""
    if contact is None:
        return ""
    if contact.kind is Meeting.LIES_ON:
        return f"the {contact.one} lies on the {contact.other}"
    if contact.kind is Meeting.HALVES_MEET:
        return f"the two halves of the {parsed(contact.one).sideless} meet"
    if contact.kind is Meeting.MEETS:
        return f"the {contact.one} meets the {contact.other}"
    return "the lengths no longer meet"


@told.register
def _(fact: Unclosed, unit: Unit) -> str:
    loop = fact.loop
    one, other = (f"{v:.4g} degrees" if fact.in_degrees else _plain(v, unit) for v in (fact.one, fact.other))
    if loop.name == Kind.FEET:
        return (
            f"the design does not shut flat: foot + fold is {one} left and "
            f"{other} right; they should be equal"
        )
    first, second = two_sums(loop.one, loop.other)
    return (
        f"the design does not shut flat: {loop.name}, {first} is {one} and "
        f"{second} is {other}; they should be equal"
    )


@told.register
def _(fact: Leaning, unit: Unit) -> str:
    return (
        f"the {fact.half} half leans {fact.lean_deg:+.1f} degrees by design at {fact.opening_deg:g} degrees"
    )


@told.register
def _(fact: LegDisagrees, unit: Unit) -> str:
    how = "longer" if fact.more_mm > 0 else "shorter"
    rest = "for the V-fold's panel" if fact.copies_panel else "to agree with the other legs of its half"
    return f"the {fact.leg} would have to be {unit.words(abs(fact.more_mm))} {how} {rest}"


@told.register
def _(fact: LittleRoomShut, unit: Unit) -> str:
    if fact.spare_mm < 0:
        return f"shut, the design sticks out {unit.words(-fact.spare_mm)} beyond the {fact.side} fore edge"
    return f"shut, the design stays only {unit.words(fact.spare_mm)} inside the {fact.side} fore edge"


@told.register
def _(fact: Jams, unit: Unit) -> str:
    why = contact_told(fact.contact)
    return f"card first jams at an opening of {fact.opening_deg:.0f} degrees" + (why and f": {why}")


@told.register
def _(fact: OpensTo, unit: Unit) -> str:
    return (
        f"it opens to {fact.opening_deg:.1f} degrees and no farther: "
        "the base cannot be laid flat with this design in it"
    )


@told.register
def _(fact: SticksOutMoving, unit: Unit) -> str:
    return (
        f"half-open, at {fact.opening_deg:.0f} degrees, the {fact.joint} reaches {unit.words(fact.over_mm)} "
        f"beyond the {fact.side} fore edge"
    )


@told.register
def _(fact: SticksOutAtEnd, unit: Unit) -> str:
    return (
        f"at {fact.opening_deg:.0f} degrees card reaches {unit.words(fact.over_mm)} beyond the {fact.end} end"
    )


@told.register
def _(fact: PassesThrough, unit: Unit) -> str:
    return (
        f"the {fact.one} passes through the {fact.other} from {fact.from_deg:.0f} to {fact.to_deg:.0f} "
        "degrees: cut a slot, or set the strips beside each other along the spine"
    )


@told.register
def _(fact: RedundantLegs, unit: Unit) -> str:
    return (
        f"the {fact.side} half of the plane stands on {fact.count} legs where one would hold it: "
        "they must agree, or the longer ones bow and the shorter ones pull at their glue"
    )


@told.register
def _(fact: ObliqueByDesign, unit: Unit) -> str:
    comes = (
        f"comes down to {abs(round(fact.shut_deg, 1)):.1f} as it shuts"
        if fact.shut_at_deg < AS_GOOD_AS_SHUT
        else f"{fact.shut_deg:+.1f} at {fact.shut_at_deg:.0f} degrees, as far as it shuts"
    )
    more = _signed(fact.more_mm, unit)
    return (
        f"the {fact.half} half of the plane is oblique by design (leg, plane spacing {more}): "
        f"it leans {fact.open_deg:+.1f} degrees open and {comes}"
    )


@told.register
def _(fact: Travels, unit: Unit) -> str:
    return (
        f"as it shuts the plane travels {unit.words(fact.away_mm)} away from the "
        "camera; an end-on photo shows the slopes of its halves, only a side photo its nod"
    )


@told.register
def _(fact: LegsDecide, unit: Unit) -> str:
    return (
        "laid flat, the angles drawn on the plane hardly hold it: the legs decide whether it is "
        "level, and one leg off tips both halves"
    )


@told.register
def _(fact: TipsPart, unit: Unit) -> str:
    first, last = unit.words(fact.open_mm), unit.words(fact.shut_mm)
    return (
        f"as it shuts the two tips of the pillar part from {first} to {last}: "
        "glue the plane to the far one and let it lie on the near one, or it cannot shut"
    )


@told.register
def _(fact: LeansOnTheWay, unit: Unit) -> str:
    return (
        "legs parallel to the spine cannot follow a V-fold all the way: the plane is level open and "
        f"shut and leans {fact.lean_deg:+.1f} degrees at {fact.opening_deg:.0f} degrees"
    )


@told.register
def _(fact: DepthUnknown, unit: Unit) -> str:
    return "[base] depth is not given, so nothing is said about head and tail"
