"""Paper by name, for bases cut from it.

ISO 216:2007 sizes A and B; the North American sizes in inches (letter, legal, tabloid), 25.4 mm to the inch.
"""

from typing import Final

from compare.compare_errors import SpecError

_ISO_A: Final = (841, 1189)
_ISO_B: Final = (1000, 1414)
_INCH: Final = {"letter": (8.5, 11.0), "legal": (8.5, 14.0), "tabloid": (11.0, 17.0)}


def _series(letter: str, short: int, long: int) -> dict[str, tuple[float, float]]:
    """Return the sizes 0 to 7: each the former one halved across, rounded down to whole mm (ISO 216)."""
    out: dict[str, tuple[float, float]] = {}
    for k in range(8):
        out[f"{letter}{k}"] = (float(short), float(long))
        short, long = long // 2, short
    return out


PAPER: Final[dict[str, tuple[float, float]]] = {
    **_series("a", *_ISO_A),
    **_series("b", *_ISO_B),
    **{name: (short * 25.4, long * 25.4) for name, (short, long) in _INCH.items()},
}
"""Name -> short and long side, mm."""


def page_of(text: str, where: str) -> tuple[float, float]:
    """Width (spine to fore edge) and depth (head to tail) of a page of this paper, mm.

    Parameters
    ----------
    text : "A5" (spine along the long side) or "A5 landscape" (spine along the short side).
    where : spot in the file, for the message.

    Raises
    ------
    SpecError : a paper that is not known.
    """
    words = text.lower().split()
    turned = words[-1:] == ["landscape"]
    if words[-1:] in (["landscape"], ["portrait"]):
        words = words[:-1]
    size = PAPER.get(words[0]) if len(words) == 1 else None
    if size is None:
        known = "A0 to A7, B0 to B7, letter, legal, tabloid"
        raise SpecError(f"{where}: unknown paper {text!r}; known: {known}, each with 'landscape' if wanted")
    return (size[1], size[0]) if turned else size
