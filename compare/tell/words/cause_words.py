"""What went wrong, in words: each fault of `compare.design.craft.fault` with its size."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from compare.cause.causes import Cause
from compare.design.craft.fault import Fault, FaultKind
from compare.tell.words.name_words import called, of_stage
from compare.units import MM, Unit
from compare.vocabulary import Kind, parsed

Said = tuple[str, str]
"""What is said of a fault of positive and of negative size."""

_CUT: Final[Said] = ("{part} is {d} too long", "{part} is {d} short")
_WIDE: Final[Said] = ("{part} is {d} too wide", "{part} is {d} too narrow")
_OUT: Final[Said] = ("{part} is glued {d} too far out", "{part} is glued {d} too far in")
_STANDS: Final[Said] = ("{part} stands {d} too far out", "{part} stands {d} too near the {spine}")
OF_LENGTH: Final[Mapping[str, Said]] = MappingProxyType(
    {
        Kind.PAGE: _WIDE,
        Kind.PLANE: _WIDE,
        Kind.PAGE_SPACING: _OUT,
        Kind.PLANE_SPACING: (
            "{leg} is glued {d} too far out under the plane",
            "{leg} is glued {d} too far in under the plane",
        ),
        Kind.FOOT: _STANDS,
        Kind.SUPPORT_FOOT: _STANDS,
        Kind.FLAP_HINGE: _OUT,
        Kind.SUPPORT_TAB: (
            "{part} is glued {d} too far from the ridge",
            "{part} is glued {d} too near the ridge",
        ),
        Kind.VFOLD_FOOT: _STANDS,
        Kind.VFOLD_TOP: _OUT,
        Kind.HEIGHT: ("the ridge stands {d} too high", "the ridge stands {d} too low"),
    }
)
"""By the kind of the one length that is wrong; all others are cut long or short."""
OF_SEVERAL: Final[Mapping[FaultKind, Said]] = MappingProxyType(
    {
        FaultKind.FEET_MOVED: (
            "the {side} feet{of} stand {d} too far out",
            "the {side} feet{of} stand {d} too near the {spine}",
        ),
        FaultKind.FEET_APART: (
            "the inner feet stand {d} too far apart",
            "the inner feet stand {d} too near to each other",
        ),
        FaultKind.RIDGE_SCORE: (
            "the ridge of the parallel fold{of} is scored {d} too far right",
            "the ridge of the parallel fold{of} is scored {d} too far left",
        ),
        FaultKind.FOLD_POSITION: (
            "the parallel fold{of} is glued {d} too far right",
            "the parallel fold{of} is glued {d} too far left",
        ),
        FaultKind.CREASE: (
            "the plane's crease{of} is glued {d} right of the ridge",
            "the plane's crease{of} is glued {d} left of the ridge",
        ),
    }
)
"""By the kind of a fault that spoils several lengths at once."""


def fault_sentence(fault: Fault, size_mm: float, unit: Unit = MM) -> str:
    """Return a fault with its size, without capital and full stop: "leg right is 2.0 mm short"."""
    n = parsed(fault.name)
    said = OF_LENGTH.get(n.kind, _CUT) if fault.kind is FaultKind.LENGTH else OF_SEVERAL[fault.kind]
    return (said[0] if size_mm > 0 else said[1]).format(
        d=unit.words(abs(size_mm)),
        part=called(fault.name),
        leg=n.other(Kind.LEG),
        side=fault.side,
        of=of_stage(fault.stage),
        spine="spine" if fault.stage == 1 else "crease below",
    )


def cause_sentence(cause: Cause, unit: Unit = MM) -> str:
    """Return a cause with its size, a sentence without capital and full stop."""
    return fault_sentence(cause.fault, cause.size_mm, unit)
