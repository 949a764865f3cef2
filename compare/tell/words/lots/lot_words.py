"""Sizes, changes and shares as people read them."""


def size(value: float, unit: str) -> str:
    """Return a size without its sign: "0.9 mm", "1.2 degrees"."""
    digits = 2 if unit == "mm" and abs(value) < 0.095 else 1
    return f"{abs(value):.{digits}f} {unit}"


def became(kind: str, change: float) -> str:
    """Return what a change means: shorter, longer, more, less."""
    if kind == "length":
        return "longer" if change > 0 else "shorter"
    if kind == "lean":
        return "higher at the outer edge" if change > 0 else "lower at the outer edge"
    return "larger" if change > 0 else "smaller"


def percent(share: float) -> str:
    """Return a share in percent with the digits it deserves."""
    p = 100 * share
    if p < 0.01:
        return "under 0.01 %"
    return f"{p:.2f} %" if p < 1 else f"{p:.1f} %" if p < 10 else f"{p:.0f} %"
