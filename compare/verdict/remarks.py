"""What else belongs to a compared item: facts that stand beside its numbers."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class BothFeet:
    """The item holds both inner feet together."""


@dataclass(frozen=True, slots=True)
class TwoSums:
    """The item is the difference of two sums round a loop: the lengths of each."""

    one: tuple[str, ...]
    other: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Reaches:
    """The joint that reaches farthest when shut, how far (mm), and which lengths are the design's."""

    farthest: str
    reach_mm: float
    from_design: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ByHand:
    """Joints at its ends that were pointed at by hand."""

    joints: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SeenShut:
    """The value is that of a photo of the shut dummy; the lengths alone predict this one, mm."""

    predicted_mm: float


@dataclass(frozen=True, slots=True)
class ReadByHand:
    """The value rests on a reading by hand: what was read, and its U, mm."""

    value_mm: float
    expanded_mm: float


Remark = BothFeet | TwoSums | Reaches | ByHand | SeenShut | ReadByHand
