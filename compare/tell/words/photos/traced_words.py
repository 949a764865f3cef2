"""What was recognised in a photo without a design, in words."""

from compare.jobs.measure_dummy import Tracing
from measure.layout import Role
from measure.sides import SIDES


def traced_headline(tracing: Tracing) -> str:
    """Return what was recognised, in one line."""
    traced = tracing.traced
    panels = traced.layout.panels
    if not traced.named:
        pages = {p.name for p in panels if p.role is Role.PAGE}
        found = [p.name for p in tracing.profile.panels if p.found and p.name not in pages]
        return f"Traced: {len(found)} panels on a spread lying flat."
    legs = [p.name for p in panels if p.role is Role.LEG]
    halves = [s for s in SIDES if any(p.role is Role.PLANE and p.side == s for p in panels)]
    plane = "a plane" if len(halves) == 2 else f"the {halves[0]} half of a plane"
    count = f"{len(legs)} leg" + ("s" if len(legs) != 1 else "")
    how = "lying flat" if traced.layout.lies_flat else "propped open"
    return f"Traced: a spread {how} with a parallel fold, {plane} and {count}."
