"""The spec file: what it means, and one clear line for everything that can be wrong with it."""

from pathlib import Path

import numpy as np
import pytest

from compare.compare_errors import SpecError
from compare.design.expected_layout import layout_of
from compare.design.load_spec import load_spec
from compare.design.spec.spec import Spec
from compare.design.study.soundness import warnings_of
from compare.tell.words.designs.design_words import warnings_told
from measure.layout import Role
from tests.helpers.made_profiles import ASYMMETRIC, ONE_SIDED, TWO_SIDED, spec_of


def changed(old: str, new: str, text: str = TWO_SIDED) -> str:
    assert old in text
    return text.replace(old, new, 1)


def halves(spec: Spec) -> list[str]:
    return [h.name for h in spec.mechanism.halves]


def test_values_and_defaults(tmp_path: Path) -> None:
    spec = spec_of(TWO_SIDED, tmp_path)
    assert spec.lengths()["plane spacing left"] == 60 and spec.lengths()["page right"] == 148.5
    assert spec.base.opening_deg == 180 and spec.base.depth == 210 and spec.card.thickness == 0.3
    assert spec.tolerance.length == 0.8 and spec.tolerance.level_deg == 1.0
    assert set(halves(spec)) == {"left", "right"} and warnings_of(spec) == ()
    assert len(spec.source.sha256) == 64


def test_inches_become_millimetres(tmp_path: Path) -> None:
    text = """
units = "in"
[base]
page = 6
opening = 120
[fold]
left = 1.5
right = 1.5
foot_left = 0.5
foot_right = 0.5
[right]
leg = 1.5
page_spacing = 2
plane_spacing = 2
[plane]
right = 2.5
[tolerance]
length = 0.02
level = 2
"""
    spec = spec_of(text, tmp_path)
    assert spec.lengths()["fold right"] == pytest.approx(38.1)  # 25.4 mm to the inch, exact
    assert spec.tolerance.length == pytest.approx(0.508) == spec.tolerance.matched
    assert spec.tolerance.level_deg == 2 and spec.base.opening_deg == 120
    assert spec.card.thickness == 0.3  # a default is in mm whatever the file is in


def test_page_left_and_right(tmp_path: Path) -> None:
    spec = spec_of(changed("page = 148.5", "page_left = 148.5\npage_right = 140"), tmp_path)
    assert (spec.base.page_left, spec.base.page_right) == (148.5, 140)


def test_one_sided(tmp_path: Path) -> None:
    spec = spec_of(ONE_SIDED, tmp_path)
    assert halves(spec) == ["right"] and "leg left" not in spec.lengths()
    spec = spec_of(changed("right = 70", "right = 70\nleft = 0", ONE_SIDED), tmp_path)
    assert halves(spec) == ["right"]


def test_asymmetric_fold_may_lean_over(tmp_path: Path) -> None:
    """A side shorter than its foot is fine if the loop assembles and closes."""
    text = ASYMMETRIC.replace("foot_left = 12", "foot_left = 10").replace("left = 48", "left = 50", 1)
    text = text.replace("foot_right = 20", "foot_right = 35").replace("right = 40", "right = 25", 1)
    spec = spec_of(text.replace("leg = 48", "leg = 50").replace("leg = 40", "leg = 25"), tmp_path)
    assert warnings_of(spec) == ()


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("leg = 40", "leg = 41", "does not shut flat: left, fold + plane spacing is 100 mm and page spacing"),
        ("foot_left = 12", "foot_left = 13", "foot + fold is 53 mm left and 52 mm right"),
        ("right = 90", "right = 100", "sticks out 3.5 mm beyond the right fore edge"),
        ("right = 90", "right = 96", "only 0.5 mm inside the right fore edge"),
    ],
)
def test_design_warnings(tmp_path: Path, old: str, new: str, message: str) -> None:
    assert any(message in w for w in warnings_told(spec_of(changed(old, new), tmp_path)))


def test_tiny_closing_error_is_rounding(tmp_path: Path) -> None:
    assert warnings_of(spec_of(changed("leg = 40", "leg = 40.04"), tmp_path)) == ()


BAD = [
    # what is wrong, what the line must say
    ('units = "mm"', 'units = "cm"', r'line 3, units: units must be "mm" or "in", got .cm.'),
    ("depth = 210", "dept = 210", r"line 6, \[base\] dept: unknown key; did you mean 'depth'\?"),
    ("[plane]", "[plan]", r"line 20, unknown|line 20: unknown table \[plan\]; did you mean 'plane'\?"),
    ("depth = 210", "leg = 210", r"line 6, \[base\] leg: unknown key; 'leg' belongs in \[left\]"),
    ("title =", "tittle =", r"line 2: unknown key tittle; did you mean 'title'\?"),
    ("leg = 40", "leg = -40", r"line 13, \[left\] leg: a length of 0.5 to 1000 mm is wanted, got -40"),
    ("leg = 40", "leg = 0", r"\[left\] leg: .* got 0"),
    ("leg = 40", "leg = nan", r"\[left\] leg: .* got nan"),
    ("leg = 40", "leg = inf", r"\[left\] leg: .* got inf"),
    ("leg = 40", "leg = 40000", r"\[left\] leg: .* got 40000"),
    ("leg = 40", 'leg = "40 mm"', r"\[left\] leg: a length must be a plain number in mm, got '40 mm'"),
    ("leg = 40", "leg = true", r"\[left\] leg: a length must be a plain number in mm, got True"),
    ("leg = 40", "leg = [40]", r"\[left\] leg: a length must be a plain number in mm, got \[40\]"),
    ("leg = 40", "leg = 40 mm", r"line 13: a number stands alone.*write 40"),
    ("leg = 40", "leg = 40\nleg = 41", r"not valid TOML"),
    ("leg = 40\n", "", r"line 12, \[left\]: 'leg' is missing"),
    ("page = 148.5\n", "", r"line 4, \[base\]: 'page' .* is missing"),
    ("page = 148.5", "page = 148.5\npage_left = 140", r"either 'page' or 'page_left' and 'page_right'"),
    ("depth = 210", "opening = 190", r"\[base\] opening: an angle in degrees of 10 to 180 degrees"),
    ("length = 0.8", "length = 0", r"\[tolerance\] length: a tolerance of 0.005 to 100 mm is wanted, got 0"),
    ("foot_left = 12", "foot_left = 148.5", r"line 10, \[fold\] foot_left: .* beyond the page"),
    ("page_spacing = 60", "page_spacing = 140", r"\[left\] page_spacing: .*12 \+ 140 = 152 mm lies beyond"),
    ("page_spacing = 60", "page_spacing = 0.5", r"\[left\] page_spacing: .* would lie on the fold's foot"),
    ("plane_spacing = 60", "plane_spacing = 95", r"\[left\] plane_spacing: .* beyond the plane's edge"),
    ("leg = 40", "leg = 15", r"\[left\]: the loop cannot be assembled at 180 degrees"),
    ("left = 90", "left = 0", r"\[plane\] left: the table \[left\] has a leg"),
    (
        "[left]\nleg = 40\npage_spacing = 60\nplane_spacing = 60\n",
        "",
        r"\[plane\] left: a plane half without a leg is not supported",
    ),
]


@pytest.mark.parametrize(("old", "new", "message"), BAD)
def test_one_line_for_each_mistake(tmp_path: Path, old: str, new: str, message: str) -> None:
    with pytest.raises(SpecError, match=message) as caught:
        spec_of(changed(old, new), tmp_path)
    text = str(caught.value)
    assert "\n" not in text and text.startswith("spread.toml")


def test_fold_that_cannot_reach(tmp_path: Path) -> None:
    text = TWO_SIDED.replace("foot_left = 12", "foot_left = 45").replace("foot_right = 12", "foot_right = 45")
    with pytest.raises(
        SpecError, match=r"line 8, \[fold\] left: sides of 40 and 40 mm cannot reach between feet 90"
    ):
        spec_of(text, tmp_path)
    text = TWO_SIDED.replace("left = 40", "left = 70", 1)
    with pytest.raises(SpecError, match="differ by more than the feet are apart"):
        spec_of(text, tmp_path)


def test_no_legs_at_all(tmp_path: Path) -> None:
    side = "leg = 40\npage_spacing = 60\nplane_spacing = 60\n"
    text = TWO_SIDED.replace("[left]\n" + side, "").replace("[right]\n" + side, "")
    with pytest.raises(SpecError, match=r"\[left\] or \[right\] is missing"):
        spec_of(text, tmp_path)


@pytest.mark.parametrize("table", ["fold", "plane", "base"])
def test_missing_table(tmp_path: Path, table: str) -> None:
    lines = TWO_SIDED.split("\n")
    start = lines.index(f"[{table}]")
    end = next((i for i in range(start + 1, len(lines)) if lines[i].startswith("[")), len(lines))
    with pytest.raises(SpecError, match=rf"the table \[{table}\] is missing"):
        spec_of("\n".join(lines[:start] + lines[end:]), tmp_path)


def test_unreadable_files(tmp_path: Path) -> None:
    with pytest.raises(SpecError, match=r"nothing\.toml: the spec cannot be read: No such file"):
        load_spec(tmp_path / "nothing.toml")
    with pytest.raises(SpecError, match="this is a folder"):
        load_spec(tmp_path)
    binary = tmp_path / "photo.jpg"
    binary.write_bytes(b"\xff\xd8\xff\xe0" + bytes(100))
    with pytest.raises(SpecError, match="not a text file"):
        load_spec(binary)
    huge = tmp_path / "huge.toml"
    huge.write_bytes(b"#" * 1_000_001)
    with pytest.raises(SpecError, match="too large"):
        load_spec(huge)
    nested = tmp_path / "nested.toml"
    nested.write_text("a = " + "[" * 5000)
    with pytest.raises(SpecError, match="not valid TOML"):
        load_spec(nested)


def test_table_given_as_a_number(tmp_path: Path) -> None:
    with pytest.raises(SpecError, match=r"\[fold\] must be a table"):
        spec_of("fold = 3\n", tmp_path)


def test_inline_tables_have_line_numbers(tmp_path: Path) -> None:
    text = "fold = { left = 40, right = -40, foot_left = 12, foot_right = 12 }\n[base]\npage = 148.5\n"
    with pytest.raises(SpecError, match=r"line 1, \[fold\] right: .*got -40"):
        spec_of(text, tmp_path)


def test_layout(tmp_path: Path) -> None:
    layout = layout_of(spec_of(TWO_SIDED, tmp_path))
    assert layout.at("ridge") == pytest.approx([0, 38.1576], abs=6e-5)
    assert layout.at("fore edge left") == pytest.approx([-148.5, 0])
    by_name = {p.name: p for p in layout.panels}
    assert by_name["page right"].joints == (
        "spine",
        "inner foot right",
        "outer foot right",
        "fore edge right",
    )
    assert by_name["plane left"].joints == ("ridge", "leg top left", "plane edge left")
    assert by_name["plane left"].free_end and by_name["plane left"].role is Role.PLANE
    assert not by_name["leg left"].free_end
    assert layout.other_openings == ()
    one = layout_of(spec_of(ONE_SIDED, tmp_path))
    assert {p.name for p in one.panels} == {
        "page left", "page right", "fold left", "fold right", "leg right", "plane right",
    }  # fmt: skip
    assert next(p for p in one.panels if p.name == "page left").joints == (
        "spine", "inner foot left", "fore edge left",
    )  # fmt: skip


def test_propped_layout_may_vary(tmp_path: Path) -> None:
    layout = layout_of(spec_of(changed("depth = 210", "opening = 120"), tmp_path))
    assert layout.other_openings and layout.opening_deg == 120
    u = layout.at("fore edge right")
    assert np.degrees(np.arctan2(u[0], u[1])) == pytest.approx(60)
