"""A linkage given by its joints: its data, and its tables in a spec."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from compare.compare_errors import SpecError
from compare.design.spec.forms import Form, Key, Kind
from compare.design.spec.spec_tables import Tables
from compare.vocabulary import PAGES
from measure.layout import Role


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnPanel:
    """A panel of a drawn linkage: a straight card through these joints, in order."""

    name: str
    joints: tuple[str, ...]
    role: Role
    parallel_to: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """A linkage given by its joints, as drawn at the design's opening, and its panels."""

    joints: Mapping[str, tuple[float, float]]
    panels: tuple[DrawnPanel, ...]


ROLES: Final = ("page", "fold", "leg", "plane")
MOST_PANELS: Final = 60
PANEL: Final = Form(
    "a straight panel of a linkage given by its joints",
    {
        "name": Key(Kind.TEXT, "its name", required=True),
        "joints": Key(Kind.NAMES, "the joints it runs through, in order", required=True),
        "role": Key(Kind.TEXT, "what it is", choices=ROLES),
        "parallel_to": Key(Kind.TEXT, "the page it should lie parallel to", choices=PAGES),
    },
    many=True,
    most=MOST_PANELS,
)
JOINTS: Final = Form(
    "joints of a linkage given directly, as drawn at `opening`: name = [x, y]",
    named=Key(Kind.POINT, "x, y from the spine"),
)


def drawing_of(f: Tables) -> Drawing:
    """Return the linkage a file draws by joints and panels."""
    if "joints" not in f.data or "panel" not in f.data:
        lacking = "[joints]" if "joints" not in f.data else "[[panel]]"
        raise SpecError(
            f"{f.source.name}: {lacking} is missing; a drawn linkage needs [joints] and [[panel]]"
        )
    joints = {k: (v[0] * f.scale, v[1] * f.scale) for k, v in f.data["joints"].items()}
    panels: list[DrawnPanel] = []
    for i, row in enumerate(f.data["panel"], start=1):
        path = f"panel[{i}]"
        for joint in row["joints"]:
            if joint not in joints:
                raise f.fail(
                    path,
                    "joints",
                    f"{row['name']!r} runs through a joint {joint!r} that [joints] does not have",
                )
        if len(set(row["joints"])) < len(row["joints"]):
            raise f.fail(path, "joints", f"{row['name']!r} names a joint twice")
        if any(p.name == row["name"] for p in panels):
            raise f.fail(path, "name", f"the name {row['name']!r} is used twice")
        is_page = row["name"] in PAGES
        role = Role(row.get("role", "page" if is_page else "leg"))
        panels.append(
            DrawnPanel(
                name=row["name"],
                joints=tuple(row["joints"]),
                role=role,
                parallel_to=row.get("parallel_to", ""),
            )
        )
    pages = {p.name: p for p in panels if p.name in PAGES}
    for name in PAGES:
        page = pages.get(name)
        if page is None or page.joints[0] != "spine":
            raise SpecError(
                f"{f.source.name}: a drawn linkage needs a [[panel]] named '{name}' "
                "whose first joint is 'spine'"
            )
    return Drawing(joints=joints, panels=tuple(panels))
