"""What to change at once while the dummy still stands there: the one thing, and the four things looked at."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from compare.desk.words.catalogue import Catalogue

OF_THE_PRINT: Final = ("PRINT_DOUBTFUL", "PRINT_WIDE", "PRINT_HIGH")  # another photo does not change them
NOT_SHARP: Final = ("OUT_OF_FOCUS", "SHAKEN_UP", "SHAKEN_ACROSS")
NOT_NEAR: Final = ("CARD_UNSEEN", "COARSE")
TOO_NEAR: Final = ("NEAR", "WIDE_LENS")
CHANGES: Final = frozenset(
    {
        "CARD_UNSEEN",
        "COARSE",
        "FROM_SIDE",
        "NEAR",
        "SHAKEN_UP",
        "SHAKEN_ACROSS",
        "OUT_OF_FOCUS",
        "WIDE_LENS",
        "GLARE",
        "NO_APRON",
        "BURNT_OUT",
        "FLAT_LIGHT",
        "PRINT_WIDE",
        "PRINT_HIGH",
        "PRINT_DOUBTFUL",
        "MARKS_HIDDEN",
        "NOT_FLAT",
        "BOWED",
    }
)
"""What may be weak in a photo (`capture.advice.Weak`), and has a text "change.KIND" in the catalogue."""


@dataclass(frozen=True, slots=True)
class Glance:
    """One of the things looked at: how it is ("good", "unsure", "bad") and what to say of it."""

    css: str
    sign: str
    said: str


@dataclass(frozen=True, slots=True)
class PhotoAdvice:
    """What was seen of one photo: whether it can be used, the one thing to change, the things looked at."""

    name: str
    usable: str
    css: str
    change: str
    glances: tuple[Glance, ...]


def _glance(words: Catalogue, good: bool, strong: bool, name: str) -> Glance:
    css = "good" if good else "bad" if strong else "unsure"
    return Glance(css, {"good": "✓", "bad": "✗", "unsure": "!"}[css], words(f"glance.{name}_{css}"))


def photo_advice(photo: Mapping[str, Any], words: Catalogue) -> PhotoAdvice:
    """Return the advice on one photo (a row of `advice.json`)."""
    name = str(photo["name"])
    if not photo.get("sheet"):
        return PhotoAdvice(
            name,
            words("advice.unusable"),
            "bad",
            str(photo.get("line", "")),
            (_glance(words, False, True, "sheet"),),
        )
    weak = {str(w["kind"]): w for w in photo["weak"] if w["kind"] in CHANGES}

    def about(kinds: Sequence[str]) -> tuple[bool, bool]:
        found = [weak[k] for k in kinds if k in weak]
        return not found, any(w["strong"] for w in found)

    glances = (
        _glance(words, True, False, "sheet"),
        _glance(words, bool(photo.get("sill")), False, "sill"),
        _glance(words, *about(NOT_SHARP), "sharp"),
        _glance(words, *about((*NOT_NEAR, *TOO_NEAR)), "near"),
    )
    strong = [w for w in weak.values() if w["strong"]]
    of_the_photo = [w for w in weak.values() if w["kind"] not in OF_THE_PRINT]
    worth = strong or of_the_photo or list(weak.values())
    change = words(f"change.{worth[0]['kind']}") if worth else words("advice.nothing")
    if worth and not strong:
        change = words("advice.better", change=change)
    usable = words("advice.doubtful") if strong else words("advice.usable")
    return PhotoAdvice(name, usable, "unsure" if strong else "good", change, glances)
