"""Small pieces of sentences: lists, capitals, chances."""

from collections.abc import Sequence


def listed(parts: Sequence[str]) -> str:
    """Return "a, b and c"; "" of nothing."""
    return " and ".join(parts) if len(parts) < 3 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def capital(words: str) -> str:
    """Return words with which a sentence begins."""
    return f"{words[:1].upper()}{words[1:]}"


def chance(p: float) -> str:
    """Return a probability in per cent, never quite 0 or 100."""
    if p > 0.995:
        return "> 99 %"
    return "< 1 %" if p < 0.005 else f"{100 * p:.0f} %"
