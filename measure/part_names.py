"""How this room spells the names of what it traces without a design: "outer foot 2 left", "panel 3".

Names are never taken apart here: what a panel is, on which side it stands and where it ends, says `Panel`.
"""


def part_name(kind: str, side: str = "", number: int = 0) -> str:
    """Spell the name of a joint, a panel or a length; number 0 where there is only one."""
    return " ".join(part for part in (kind, str(number) if number else "", side) if part)
