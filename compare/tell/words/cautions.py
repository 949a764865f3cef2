"""Cautions that stand wherever someone is told to cut, score or glue."""

from collections.abc import Sequence
from typing import Final

from compare.cure.plans import Remedy

KNIFE: Final = (
    "Knife: cut on a mat against a safety straightedge, the holding hand behind the blade, a fresh blade, "
    "retracted when put down."
)
GLUE: Final = (
    "Glue: thin and sparing, in a room with fresh air; follow its label, and keep it off the skin and away "
    "from children."
)
CHILDREN: Final = (
    "For products meant for children follow the local toy-safety rules and have them tested by a licensed "
    "laboratory."
)


def cautions(*, cuts: bool) -> tuple[str, ...]:
    """Return the cautions that belong to advice that needs a knife, or does not."""
    return (KNIFE, CHILDREN) if cuts else ()


def repair_cautions(remedies: Sequence[Remedy]) -> tuple[str, ...]:
    """Return the cautions that belong to plans of repair: those of what they cut, score and glue."""
    cut = any(r.cuts for r in remedies)
    glued = any(r.glues for r in remedies)
    return (*((KNIFE,) if cut else ()), *((GLUE,) if glued else ()), *((CHILDREN,) if cut or glued else ()))
