"""What there is to say of a design in plain words: a clause for each fact (`compare.design.design_facts`)."""

from collections.abc import Sequence
from functools import singledispatch

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
from compare.design.study.soundness import warnings_of
from compare.units import unit_of
from compare.vocabulary import parsed


@singledispatch
def told(fact: Fact) -> str:
    """Return a fact of a design as a clause without its full stop.

    Raises
    ------
    TypeError : a fact that no clause was written for.
    """
    raise TypeError(f"no words for {type(fact).__name__}")


def all_told(facts: Sequence[Fact]) -> tuple[str, ...]:
    """Return several facts, each as a clause."""
    return tuple(told(fact) for fact in facts)


def warnings_told(spec: Spec) -> tuple[str, ...]:
    """Return what the design will do that its author may not want."""
    return all_told(warnings_of(spec))


def praise(spec: Spec) -> str:
    """Return what to say of a design without concerns."""
    pairs = spec.mechanism.pairs
    return "every matched pair agrees, it shuts flat and clear" if pairs else "it shuts flat and clear"


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
def _(fact: Unclosed) -> str:
    one, other, loop = fact.one, fact.other, fact.loop
    if loop.name == "feet":
        return (
            f"the design does not shut flat: foot + fold is {one:.4g} mm left and "
            f"{other:.4g} mm right; they should be equal"
        )
    unit = "degrees" if fact.in_degrees else "mm"
    return (
        f"the design does not shut flat: {loop.name}, {loop.words[0]} is {one:.4g} {unit} and "
        f"{loop.words[1]} is {other:.4g} {unit}; they should be equal"
    )


@told.register
def _(fact: Leaning) -> str:
    return (
        f"the {fact.half} half leans {fact.lean_deg:+.1f} degrees by design at {fact.opening_deg:g} degrees"
    )


@told.register
def _(fact: LegDisagrees) -> str:
    how = "longer" if fact.more_mm > 0 else "shorter"
    rest = "for the V-fold's panel" if fact.copies_panel else "to agree with the other legs of its half"
    return f"the {fact.leg} would have to be {unit_of('mm').words(abs(fact.more_mm))} {how} {rest}"


@told.register
def _(fact: LittleRoomShut) -> str:
    if fact.spare_mm < 0:
        return f"shut, the design sticks out {-fact.spare_mm:.1f} mm beyond the {fact.side} fore edge"
    return f"shut, the design stays only {fact.spare_mm:.1f} mm inside the {fact.side} fore edge"


@told.register
def _(fact: Jams) -> str:
    why = contact_told(fact.contact)
    return f"card first jams at an opening of {fact.opening_deg:.0f} degrees" + (why and f": {why}")


@told.register
def _(fact: OpensTo) -> str:
    return (
        f"it opens to {fact.opening_deg:.1f} degrees and no farther: "
        "the base cannot be laid flat with this design in it"
    )


@told.register
def _(fact: SticksOutMoving) -> str:
    return (
        f"half-open, at {fact.opening_deg:.0f} degrees, the {fact.joint} reaches {fact.over_mm:.1f} mm "
        f"beyond the {fact.side} fore edge"
    )


@told.register
def _(fact: SticksOutAtEnd) -> str:
    return f"at {fact.opening_deg:.0f} degrees card reaches {fact.over_mm:.1f} mm beyond the {fact.end} end"


@told.register
def _(fact: PassesThrough) -> str:
    return (
        f"the {fact.one} passes through the {fact.other} from {fact.from_deg:.0f} to {fact.to_deg:.0f} "
        "degrees: cut a slot, or set the strips beside each other along the spine"
    )


@told.register
def _(fact: RedundantLegs) -> str:
    return (
        f"the {fact.side} half of the plane stands on {fact.count} legs where one would hold it: "
        "they must agree, or the longer ones bow and the shorter ones pull at their glue"
    )


@told.register
def _(fact: ObliqueByDesign) -> str:
    return (
        f"the {fact.half} half of the plane is oblique by design (leg, plane spacing {fact.more_mm:+g} mm): "
        f"it leans {fact.open_deg:+.1f} degrees open and comes down to {abs(round(fact.shut_deg, 1)):.1f} as "
        "it shuts"
    )


@told.register
def _(fact: Travels) -> str:
    return (
        f"as it shuts the plane travels {fact.away_mm:.1f} mm away from the "
        "camera; an end-on photo shows the slopes of its halves, only a side photo its nod"
    )


@told.register
def _(fact: LegsDecide) -> str:
    return (
        "laid flat, the angles drawn on the plane hardly hold it: the legs decide whether it is "
        "level, and one leg off tips both halves"
    )


@told.register
def _(fact: TipsPart) -> str:
    return (
        f"as it shuts the two tips of the pillar part from {fact.open_mm:.1f} to {fact.shut_mm:.1f} mm: "
        "glue the plane to the far one and let it lie on the near one, or it cannot shut"
    )


@told.register
def _(fact: LeansOnTheWay) -> str:
    return (
        "legs parallel to the spine cannot follow a V-fold all the way: the plane is level open and "
        f"shut and leans {fact.lean_deg:+.1f} degrees at {fact.opening_deg:.0f} degrees"
    )


@told.register
def _(fact: DepthUnknown) -> str:
    return "[base] depth is not given, so nothing is said about head and tail"
