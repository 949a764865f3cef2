"""Names of lengths taken apart, and what they are called in a sentence."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final


@dataclass(frozen=True, slots=True)
class Name:
    """A length's name in parts: "stage 2 leg 1 right" is stage 2, kind "leg", number "1", side "right".

    A name of another form (of a drawn linkage) is all kind.
    """

    stage: int
    kind: str
    number: str
    side: str

    @property
    def prefix(self) -> str:
        """The words that stand before the kind: "" for the first stage."""
        return "" if self.stage == 1 else f"stage {self.stage} "

    def other(self, kind: str, *, numbered: bool = True, side: str = "") -> str:
        """Return the name of another length of the same construction (and leg, if numbered)."""
        number = f" {self.number}" if numbered and self.number else ""
        return f"{self.prefix}{kind}{number} {side or self.side}".strip()


def parsed(name: str) -> Name:
    """Take a name apart."""
    m = re.fullmatch(r"(?:stage (\d+) )?(.+?)(?: (\d+))? (left|right)", name)
    if m is None:
        return Name(1, name, "", "")
    return Name(int(m[1] or 1), m[2], m[3] or "", m[4])


CALLED: Final[Mapping[str, str]] = MappingProxyType(
    {
        "leg": "the {side} leg{n}{of}",
        "fold": "the {side} side of the parallel fold{of}",
        "page": "the {side} page",
        "page spacing": "the {side} outer foot{n}{of}",
        "plane spacing": "the top of the {side} leg{n}{of}",
        "plane": "the plane's {side} half{of}",
        "foot": "the {side} inner foot{of}",
        "support": "the {side} support{of}",
        "support foot": "the {side} support's foot{of}",
        "support tab": "the {side} support's tab{of}",
        "flap": "the {side} flap",
        "flap hinge": "the {side} flap's hinge",
        "strap": "the {side} strap",
        "vfold": "the {side} side of the V-fold",
        "vfold foot": "the {side} foot of the V-fold",
        "vfold top": "the {side} top of the V-fold",
    }
)
"""What a length belongs to: the strip it is cut on, or the glue line it places."""


def called(name: str) -> str:
    """Return the part a length belongs to, in plain words: "the right leg", "the left leg 2 of stage 2"."""
    n = parsed(name)
    if n.kind not in CALLED:
        return f'"{name}"'
    of = f" of stage {n.stage}" if n.stage > 1 else ""
    return CALLED[n.kind].format(side=n.side, n=f" {n.number}" if n.number else "", of=of)
