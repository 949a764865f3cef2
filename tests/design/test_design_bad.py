"""One line, naming the part, for everything that can be wrong with a design beyond a plain spread."""

import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from compare.cli import main
from tests.helpers.made_profiles import TWO_SIDED

SAMPLES = Path(__file__).parents[2] / "sample_images"


def run(*args: object) -> Result:
    return CliRunner().invoke(main, ["design", *map(str, args)])


STAGE = """
[[stage]]
[stage.fold]
left = 20
right = 20
foot_left = {foot}
foot_right = 8
[stage.left]
leg = 20
page_spacing = {spacing}
plane_spacing = 30
[stage.right]
leg = 20
page_spacing = 30
plane_spacing = 30
[stage.plane]
left = 35
right = 35
"""
LEGS = """
[[right.legs]]
leg = 40
page_spacing = {first}
plane_spacing = 30
[[right.legs]]
leg = 40
page_spacing = 60
plane_spacing = 60
"""
LEFT = "[left]\nleg = 40\npage_spacing = 60\nplane_spacing = 60\n"
RIGHT = "[right]\nleg = 40\npage_spacing = 60\nplane_spacing = 60\n"
BAD = {
    "foot beyond the plane below": (
        TWO_SIDED + STAGE.format(foot=95, spacing=30),
        r"line 31, \[stage\[1\]\.fold\] foot_left: .*beyond the plane below",
    ),
    "leg beyond the plane below": (
        TWO_SIDED + STAGE.format(foot=8, spacing=85),
        r"\[stage\[1\]\.left\] page_spacing: .*beyond the plane below",
    ),
    "negative length in a stage": (
        TWO_SIDED + STAGE.format(foot=8, spacing=-3),
        r"\[stage\[1\]\.left\] page_spacing: .* got -3",
    ),
    "impossible loop in a stage": (
        TWO_SIDED + STAGE.format(foot=45, spacing=30),
        r"\[stage\[1\]\.fold\] left: sides of 20 and 20 mm cannot reach",
    ),
    "stage on half a plane": (
        TWO_SIDED.replace("left = 90\n", "").replace(LEFT, "") + STAGE.format(foot=8, spacing=30),
        r"\[stage\[1\]\]: a stage stands on both halves of the plane below",
    ),
    "legs out of order": (
        TWO_SIDED.replace(RIGHT, LEGS.format(first=70)),
        r"\[right\.legs\[2\]\] page_spacing: .*from the ridge outwards",
    ),
    "negative spacing of a leg": (
        TWO_SIDED.replace(RIGHT, LEGS.format(first=-1)),
        r"line 19, \[right\.legs\[1\]\] page_spacing: .* got -1",
    ),
    "tab over the spine": (
        TWO_SIDED.replace("[fold]", "[card]\ntab = 14\n[fold]", 1),
        r"\[fold\] foot_left: the gluing tab of 14 mm .* cross the spine",
    ),
    "drawn and built": (
        TWO_SIDED + "[[panel]]\nname = 'a'\njoints = ['b', 'c']\n",
        r"built on \[joints\] and \[\[panel\]\] or on \[fold\]",
    ),
    "two carriers": (
        TWO_SIDED + "[vfold]\ncrease = 30\nnear = 20\n",
        r"\[fold\]: a spread is built on \[vfold\] or on \[fold\]",
    ),
    "hinge before the leg": (
        TWO_SIDED + "[left.flap]\nhinge = 60\nflap = 30\nstrap = 20\n",
        r"\[left\.flap\] hinge: .* between the leg's foot",
    ),
    "strap too short": (
        TWO_SIDED + "[left.flap]\nhinge = 130\nflap = 10\nstrap = 5\n",
        r"\[left\.flap\] strap: .* cannot meet at 180",
    ),
    "tolerance for nothing": (
        TWO_SIDED + "[tolerance.lengths]\n'leg midle' = 0.2\n",
        r"\[tolerance\.lengths\] leg midle: .*no such length",
    ),
    "one stage written as a table": (TWO_SIDED + "[stage]\nfold = 3\n", r"\[stage\].*write \[\[stage\]\]"),
    "unknown paper": (
        TWO_SIDED.replace("page = 148.5", 'paper = "A9"'),
        r"\[base\] paper: unknown paper 'A9'; known: A0 to A7",
    ),
    "paper and page": (
        TWO_SIDED.replace("page = 148.5", 'paper = "A5"\npage = 140'),
        "either 'paper' or the width",
    ),
}


@pytest.mark.parametrize("what", BAD)
def test_bad_design_is_one_line(what: str, tmp_path: Path) -> None:
    text, message = BAD[what]
    path = tmp_path / "spread.toml"
    path.write_text(text, encoding="utf-8")
    result = run(path, "--picture", tmp_path / "sweep.svg")
    assert result.exit_code == 2 and result.stdout == ""
    (line,) = result.stderr.splitlines()
    assert line.startswith("foldgauge: spread.toml")
    assert re.search(message, line), line
    assert not (tmp_path / "sweep.svg").exists()


DRAWN = """
[base]
page = 104
[joints]
spine = [0, 0]
a = [-12, 0]
b = [12, 0]
"fore edge left" = [-104, 0]
"fore edge right" = [104, 0]
top = [0, 40]
[[panel]]
name = "page left"
joints = ["spine", "a", "fore edge left"]
[[panel]]
name = "page right"
joints = ["spine", "b", "fore edge right"]
[[panel]]
name = "one"
joints = ["a", "top"]
[[panel]]
name = "two"
joints = ["b", "top"]
"""


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            'joints = ["b", "top"]',
            'joints = ["b", "tip"]',
            r"panel\[4\].*'tip' that \[joints\] does not have",
        ),
        ('name = "two"', 'name = "one"', "the name 'one' is used twice"),
        ('name = "page left"', 'name = "page"', "needs a .* named 'page left'"),
        ("top = [0, 40]", "top = [0, 40, 3]", r"a place \[x, y\] in mm is wanted"),
        ("top = [0, 40]", "top = [0, nan]", "got nan"),
        ("a = [-12, 0]", "a = [-12, 5]", r"\[joints\] a: it lies 5.00 mm off the left page as drawn at 180"),
        ("top = [0, 40]", "top = [0, 40]\nfar = [3, 3]", r"\[joints\] far: no \[\[panel\]\] runs through"),
        ("spine = [0, 0]", "spine = [0, 2]", r"\[joints\] spine: .* write \[0, 0\]"),
        ("[104, 0]", "[114, 0]", r"fore edge right: it lies 114 mm from the spine, beyond the page"),
        ('[[panel]]\nname = "two"\njoints = ["b", "top"]\n', "", "the linkage is loose, 1 freedom"),
        ('joints = ["b", "top"]', 'joints = ["b", "a"]', "joins two points of the pages"),
        ("top = [0, 40]", "top = [0, 0.01]", "draw it at another opening"),
        (
            'name = "two"\n',
            'name = "two"\nrole = "roof"\n',
            "one of page, fold, leg, plane is wanted, got 'roof'",
        ),
    ],
)
def test_bad_drawn_linkage_is_one_line(old: str, new: str, message: str, tmp_path: Path) -> None:
    assert old in DRAWN
    path = tmp_path / "drawn.toml"
    path.write_text(DRAWN.replace(old, new, 1), encoding="utf-8")
    result = run(path)
    assert result.exit_code == 2
    (line,) = result.stderr.splitlines()
    assert re.search(message, line), line
    path.write_text(DRAWN, encoding="utf-8")
    assert run(path).exit_code == 0


@pytest.mark.parametrize(
    ("name", "old", "new", "message"),
    [
        (
            "vfold",
            "width = 40",
            "width = 150",
            r"\[vfold\.left\] width: the glue line ends 106.1 mm from the spine",
        ),
        ("vfold", "angle = 90 ", "angle = 140 ", r"\[vfold\.left\] angle: .* stick out through the spine"),
        (
            "vfold",
            "page_spacing = 34",
            "page_spacing = 74",
            r"\[left\] page_spacing: the leg's foot at 102.3 mm",
        ),
        (
            "vfold",
            "plane_spacing = 34",
            "plane_spacing = 44",
            r"\[left\] plane_spacing: .* beyond the plane's edge",
        ),
        ("vfold", "[vfold.left]", "[vfold.lft]", r"\[vfold\] lft: unknown key; did you mean 'left'"),
        ("vfold_uneven", "angle = 84.56", "angle = 3", r"\[vfold\]: its two panels cannot meet at 180"),
        (
            "vfold",
            "glue_angle = 45\n",
            "glue_angle = 45\nplane_angle = 40\n",
            "the plane cannot lie on the V-fold",
        ),
        (
            "pillar",
            "width = 34",
            "width = 44",
            r"\[pillar\] width: glue lines .* cross each other in a gap of 52",
        ),
        ("pillar", "angle = 90", "angle = 40", r"\[pillar\] angle: .* opens to 131 degrees only, not to 180"),
        ("pillar", "page_spacing = 46", "page_spacing = 20", "would stand in the pillar"),
        ("tab_support", "tab = -6 ", "tab = -13 ", r"\[left\] tab: .* the plane cannot follow the pages"),
        ("tab_support", "tab = -6 ", "tab = 0 ", r"\[left\] tab: .*write it as \[fold\]"),
        (
            "tab_support",
            "right = 36",
            "right = 36\nleft = 30",
            r"\[fold\] left: the left side has a plain support",
        ),
    ],
)
def test_bad_carrier_is_one_line(name: str, old: str, new: str, message: str, tmp_path: Path) -> None:
    text = (SAMPLES / f"{name}.toml").read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "spread.toml"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    result = run(path)
    assert result.exit_code == 2, result.stdout
    (line,) = result.stderr.splitlines()
    assert re.search(message, line), line
