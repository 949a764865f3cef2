"""From the tables of a spec file to V-folds, pillars and drawn linkages."""

from compare.compare_errors import SpecError
from compare.design.spec.parts import (
    Drawing,
    DrawnPanel,
    Parallelogram,
    Pillar,
    Plane,
    VFold,
    VSide,
)
from compare.design.spec.spec_tables import SUPPORT_KEYS, Tables, leg_of
from measure.layout import Role
from measure.sides import SIDES


def _carried(f: Tables, what: str) -> tuple[dict[str, Parallelogram], Plane]:
    """Legs and plane of a V-fold or pillar."""
    for table in ("fold", "stage", "joints", "panel"):
        if table in f.data:
            raise f.fail(table, "", f"a spread is built on [{what}] or on [{table}], not on both")
    legs = {}
    for side in SIDES:
        if side not in f.data:
            continue
        given = next((k for k in (*SUPPORT_KEYS, "legs", "flap") if k in f.data[side]), "")
        if given:
            raise f.fail(side, given, f"not on a [{what}]: only leg, page_spacing and plane_spacing")
        legs[side] = leg_of(f, side, f.data[side])
    if "plane" not in f.data:
        raise SpecError(f"{f.source.name}: the table [plane] is missing")
    for side in SIDES:
        if not f.data["plane"].get(side):
            raise f.fail("plane", side, f"a plane on a [{what}] has both halves; give both widths")
    return legs, Plane(left=f.mm(f.data["plane"], "left"), right=f.mm(f.data["plane"], "right"))


def vfold_of(f: Tables) -> VFold:
    """Return the V-fold of a file, its legs and its plane."""
    t = f.data["vfold"]
    if "pillar" in f.data:
        raise f.fail("pillar", "", "a spread is built on [vfold] or on [pillar], not on both")
    legs, plane = _carried(f, "vfold")
    sides = {}
    for side in SIDES:
        if side not in t:
            raise SpecError(f"{f.source.where('vfold')}: the table [vfold.{side}] is missing")
        row = t[side]
        sides[side] = VSide(
            glue_deg=float(row["glue_angle"]),
            panel_deg=float(row["angle"]),
            width=f.mm(row, "width"),
            plane_deg=float(row.get("plane_angle", row["glue_angle"])),
        )
    return VFold(crease=f.mm(t, "crease"), near=f.mm(t, "near"), sides=sides, legs=legs, plane=plane)


def pillar_of(f: Tables) -> Pillar:
    """Return the pillar of a file, its legs and its plane."""
    t = f.data["pillar"]
    legs, plane = _carried(f, "pillar")
    for side in SIDES:
        if side not in legs:
            raise SpecError(
                f"{f.source.name}: the table [{side}] is missing: a table on a pillar has legs on both sides"
            )
    return Pillar(
        crease_near=f.mm(t, "crease"),
        crease_far=f.mm(t, "crease_far", f.mm(t, "crease")),
        glue_deg=float(t["glue_angle"]),
        panel_deg=float(t["angle"]),
        width=f.mm(t, "width"),
        gap=f.mm(t, "gap"),
        middle=f.mm(t, "middle"),
        legs=legs,
        plane=plane,
    )


def drawing_of(f: Tables) -> Drawing:
    """Return the linkage a file draws by joints and panels."""
    for table in ("fold", "stage", "left", "right", "plane"):
        if table in f.data:
            raise f.fail(
                table, "", f"a spread is drawn with [joints] and [[panel]] or built on [{table}], not both"
            )
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
        is_page = row["name"] in ("page left", "page right")
        role = Role(row.get("role", "page" if is_page else "leg"))
        panels.append(
            DrawnPanel(
                name=row["name"],
                joints=tuple(row["joints"]),
                role=role,
                parallel_to=row.get("parallel_to", ""),
            )
        )
    pages = {p.name: p for p in panels if p.name in ("page left", "page right")}
    for side in SIDES:
        page = pages.get(f"page {side}")
        if page is None or page.joints[0] != "spine":
            raise SpecError(
                f"{f.source.name}: a drawn linkage needs a [[panel]] named 'page {side}' "
                "whose first joint is 'spine'"
            )
    return Drawing(joints=joints, panels=tuple(panels))
