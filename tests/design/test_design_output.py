"""What `foldgauge design` writes: pictures, moving pictures, template, JSON, schema, tidy specs."""

import html
import json
import subprocess
import sys
import tomllib
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pypdfium2
import pytest
from click.testing import CliRunner, Result
from PIL import Image

from compare.cli import main
from compare.design.constructions.registry import FORMS
from compare.design.load_spec import load_spec
from compare.design.pieces.pattern import pieces_of
from compare.design.pieces.pieces import BACK, GLUE, MOUNTAIN, VALLEY
from compare.design.spec.spec_schema import schema
from compare.design.spec.tidy import tidy_text
from tests.helpers.made_profiles import TWO_SIDED

SAMPLES = Path(__file__).parents[2] / "sample_images"
SPECS = sorted(SAMPLES.glob("*.toml"))
ROWS = (
    "good_arch", "one_sided", "tab_support", "many_legs", "asymmetric", "oblique", "stages", "vfold",
    "vfold_uneven", "pillar", "flaps", "background", "scissors",
)  # fmt: skip
DPI = 200


def run(*args: object) -> Result:
    return CliRunner().invoke(main, ["design", *map(str, args)])


@pytest.mark.parametrize("name", ROWS)
def test_every_row_is_computed_and_drawn(name: str, tmp_path: Path) -> None:
    svg = tmp_path / "sweep.svg"
    result = run(SAMPLES / f"{name}.toml", "--picture", svg)
    assert result.exit_code == 0, result.output
    assert "How it opens" in result.stdout and "It opens flat." in result.stdout
    assert "It shuts without jamming." in result.stdout
    root = ET.fromstring(svg.read_text(encoding="utf-8"))
    words = [e.text for e in root.iter("{http://www.w3.org/2000/svg}text")]
    assert "180°" in words and "90°" in words and "30°" in words
    width, height = float(root.attrib["width"]), float(root.attrib["height"])
    for line in root.iter("{http://www.w3.org/2000/svg}path"):
        xy = np.array([p.split() for p in line.attrib["d"].removeprefix("M").split("L")], dtype=float)
        assert xy[:, 0].min() > -1 and xy[:, 0].max() < width + 1, name  # nothing hangs out of the picture
        assert xy[:, 1].min() > -1 and xy[:, 1].max() < height + 1, name


def test_png_gif_and_page(tmp_path: Path) -> None:
    png, gif, page = (tmp_path / f"flaps.{k}" for k in ("png", "gif", "html"))
    assert run(SAMPLES / "flaps.toml", "--picture", png, "--motion", gif).exit_code == 0
    assert run(SAMPLES / "flaps.toml", "--motion", page).exit_code == 0
    with Image.open(png) as image:
        pixels = np.asarray(image.convert("RGB"))
        assert image.width == 1800
    for colour in ((230, 159, 0), (0, 114, 178), (0, 158, 115), (170, 92, 136)):
        assert (np.abs(pixels.astype(int) - colour).max(axis=2) < 8).sum() > 500, colour
    with Image.open(gif) as image:
        assert image.n_frames > 60 and image.info["loop"] == 0
    text = page.read_text(encoding="utf-8")
    assert text.count("\\u003csvg") == 91
    assert "http:" not in text.replace("http://www.w3.org/2000/svg", "") and "https:" not in text


def test_template_is_true_to_size(tmp_path: Path) -> None:
    """The pixels between the cut edges of a strip are its fold-to-fold lengths and two tabs."""
    pdf = tmp_path / "cut.pdf"
    assert run(SAMPLES / "good_arch.toml", "--template", pdf).exit_code == 0
    document = pypdfium2.PdfDocument(pdf)
    words = document[0].get_textpage().get_text_range()
    assert "Knife" in words and "toy-safety" in words and "100 %" in words and "leg left" in words
    # the page is A4, landscape: ISO 216
    assert [round(v / 72 * 25.4) for v in document[2].get_size()] == [297, 210]
    grey = np.asarray(document[2].render(scale=DPI / 72).to_pil().convert("L"))
    names = document[2].get_textpage().get_text_range()
    assert "fold" in names and "page left" in names
    mm = 25.4 / DPI
    row = grey[int(38 / mm)]  # through the pages, which stand at the top
    dark = np.flatnonzero(row < 110) * mm
    assert dark[0] == pytest.approx(12.0, abs=0.3)  # the left cut edge of the left page, at the margin
    edges = dark[np.flatnonzero(np.diff(np.concatenate([[-9.0], dark])) > 0.5)]
    assert np.any(np.abs(edges - (12 + 104)) < 0.3)  # its right edge: the page is 104 mm wide
    document.close()


def test_pieces_have_the_lengths_of_the_design() -> None:
    spec = load_spec(SAMPLES / "stages.toml")
    pieces = {p.name: p for p in pieces_of(spec)}
    assert pieces["fold"].size() == pytest.approx((36 + 36 + 2 * 6, 60))
    assert pieces["stage 2 leg left"].size() == pytest.approx((22 + 2 * 6, 60))
    assert pieces["stage 3 plane"].size() == pytest.approx((40, 60))
    folds = sorted(s.a[0] for s in pieces["fold"].seams if s.kind == MOUNTAIN)
    assert np.diff(folds) == pytest.approx([36, 36])
    for side, sign in (("left", -1), ("right", 1)):
        page = pieces[f"page {side}"]
        spine = 122 if side == "left" else 0
        assert sorted(sign * (s.a[0] - spine) for s in page.seams if s.kind == GLUE) == pytest.approx(
            [12, 62]
        )


def test_v_fold_laid_flat_keeps_its_angles() -> None:
    spec = load_spec(SAMPLES / "vfold_uneven.toml")
    piece = next(p for p in pieces_of(spec) if p.name == "V-fold")
    lines = [np.subtract(s.b, s.a) for s in piece.seams if s.kind == MOUNTAIN]
    crease = lines[0]
    assert np.hypot(*crease) == pytest.approx(34)
    angles = [np.degrees(np.arccos(v @ crease / np.hypot(*v) / np.hypot(*crease))) for v in lines[1:]]
    widths = [np.hypot(*v) for v in lines[1:]]
    assert (angles[0], widths[0]) == pytest.approx((84.56, 44))
    assert (angles[2], widths[2]) == pytest.approx((94.56, 36.92))
    # seen from behind, the right panel is on the left
    assert lines[1][0] < 0 < lines[3][0]


def test_template_of_every_row(tmp_path: Path) -> None:
    for name in ROWS:
        pdf = tmp_path / f"{name}.pdf"
        assert run(SAMPLES / f"{name}.toml", "--template", pdf).exit_code == 0
        document = pypdfium2.PdfDocument(pdf)
        pages = [page.get_textpage().get_text_range() for page in document]
        document.close()
        for piece in pieces_of(load_spec(SAMPLES / f"{name}.toml")):
            assert any(piece.name in text for text in pages[1:]), (name, piece.name)
        assert all("Knife" in text for text in pages), name
        told = pages[1]
        assert "How it goes together" in told and "Glue:" in told and "toy-safety" in told
        assert "Let the glue dry" in told


def test_pieces_lie_as_the_camera_sees_them() -> None:
    """Near end at the bottom, left page on the left; what is seen from below is turned over."""
    for name in ("asymmetric", "vfold", "pillar"):
        pieces = {p.name: p for p in pieces_of(load_spec(SAMPLES / f"{name}.toml"))}
        for side in ("left", "right"):
            page = pieces[f"page {side}"]
            width, _ = page.size()
            near, spine = (next(s for s in page.seams if s.name == w) for w in ("near end", "spine"))
            assert near.a[1] == near.b[1] == 0
            assert spine.a[0] == spine.b[0] == pytest.approx(width if side == "left" else 0)
    arch = {p.name: p for p in pieces_of(load_spec(SAMPLES / "asymmetric.toml"))}
    spec = load_spec(SAMPLES / "asymmetric.toml").lengths()
    (crease,) = (s for s in arch["plane"].seams if s.name == "crease")
    assert crease.a[0] == pytest.approx(spec["plane right"])  # the right half lies on the left
    vfold = {p.name: p for p in pieces_of(load_spec(SAMPLES / "vfold.toml"))}
    for line in (s for s in vfold["page right"].seams if s.kind == GLUE):
        assert line.b[1] < line.a[1] and line.b[0] > line.a[0]  # outwards and towards the camera


@pytest.mark.parametrize("foot", [0.6, 2.0, 2.9, 3.5, 12.0])
def test_tabs_never_cross_the_spine(foot: float, tmp_path: Path) -> None:
    """A tab that has no room beside the spine is a valley tab and points outwards."""
    text = TWO_SIDED.replace("foot_left = 12", f"foot_left = {foot}")
    path = tmp_path / "arch.toml"
    path.write_text(text.replace("foot_right = 12", f"foot_right = {foot}"), encoding="utf-8")
    pieces = {p.name: p for p in pieces_of(load_spec(path))}
    for side in ("left", "right"):
        page = pieces[f"page {side}"]
        width, _ = page.size()
        for band in page.bands:
            assert band[:, 0].min() >= -1e-9 and band[:, 0].max() <= width + 1e-9
        spans = sorted((b[:, 0].min(), b[:, 0].max()) for b in page.bands)
        assert spans[0][1] <= spans[1][0] and all(b - a >= 3 for a, b in spans)
    outer = [s.kind for s in pieces["fold"].seams if s.a[0] in (min(t.a[0] for t in pieces["fold"].seams),)]
    assert outer == [VALLEY if foot < 3 else MOUNTAIN]


def test_the_next_stage_is_drawn_on_the_plane_it_stands_on() -> None:
    spec = load_spec(SAMPLES / "stages.toml")
    n, plane = spec.lengths(), next(p for p in pieces_of(spec) if p.name == "plane")
    back = sorted(abs(s.a[0] - n["plane right"]) for s in plane.seams if s.kind == BACK)
    foot, leg = n["stage 2 foot left"], n["stage 2 foot left"] + n["stage 2 page spacing left"]
    assert back == pytest.approx([foot, foot, leg, leg])


def test_json(tmp_path: Path) -> None:
    result = run(SAMPLES / "vfold.toml", "--json")
    data = json.loads(result.stdout)
    assert data["answer"].endswith("it shuts flat and clear.") and data["concerns"] == []
    assert data["loops"]["vfold"] == {"one": 135.0, "other": 135.0, "difference": 0.0}
    assert data["openings"][0] == 180 and len(data["lean"]["right"]) == 181 and len(data["nod"]) == 181
    assert data["shut"]["right"]["clearance"] == pytest.approx(5.9584, abs=1e-3)
    assert data["tolerance"] is None
    data = json.loads(run(SAMPLES / "good_arch.toml", "--json", "--tolerance", "die").stdout)
    assert data["tolerance"]["level"] > 0.999 and set(data["tolerance"]["spreads"].values()) == {0.1}


def test_tolerance_in_words() -> None:
    result = run(SAMPLES / "good_arch.toml", "--tolerance", "hand")
    assert result.exit_code == 0
    assert "are level within 1 degrees at 180 degrees" in result.stdout
    assert "What makes the lean right" in result.stdout and "For 99 % to conform" in result.stdout


# ---- schema and formatter ----


@pytest.mark.parametrize("path", SPECS, ids=lambda p: p.stem)
def test_schema_accepts_every_sample(path: Path) -> None:
    jsonschema.Draft202012Validator(schema(FORMS)).validate(tomllib.loads(path.read_text(encoding="utf-8")))


def test_schema_is_sound_and_refuses_what_the_reader_refuses(tmp_path: Path) -> None:
    jsonschema.Draft202012Validator.check_schema(schema(FORMS))
    printed = json.loads(run("--schema").stdout)
    assert printed == schema(FORMS)
    for old, new in (
        ("leg = 40", "leg = -40"), ("leg = 40", 'leg = "40"'), ("depth = 210", "dept = 210"),
        ('units = "mm"', 'units = "cm"'), ("page = 148.5", "opening = 190"),
    ):  # fmt: skip
        data = tomllib.loads(TWO_SIDED.replace(old, new, 1))
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(data, schema(FORMS))


@pytest.mark.parametrize("path", SPECS, ids=lambda p: p.stem)
def test_tidy_keeps_the_meaning_and_the_comments(path: Path, tmp_path: Path) -> None:
    text = tidy_text(path, FORMS)
    again = tmp_path / path.name
    again.write_text(text, encoding="utf-8")
    old, new = load_spec(path), load_spec(again)
    assert replace(new, source=old.source) == old
    assert tidy_text(again, FORMS) == text  # tidy is tidy
    comments = [s.split("#", 1)[1].strip() for s in path.read_text(encoding="utf-8").splitlines() if "#" in s]
    assert all(c in text for c in comments)


def test_tidy_puts_comments_where_they_belong(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text(
        "# alone\n\n# of the tolerance\n[tolerance] # its head\nlevel = 0x1 # one degree\n"
        "# of the base\n[base]\n"
        "# 'of' the = page\npage=148.50# \"measured\"\n[fold]\nright = 40\nleft = 40\n[left]\nleg = 40\n"
        "page_spacing = 40 \n[right]\nleg = 40\npage_spacing = 40\n# at the end\n"
    )
    assert tidy_text(tmp_path / "s.toml", FORMS).splitlines()[:9] == [
        "# of the base",
        "[base]",
        "# 'of' the = page",
        'page = 148.5             # "measured"',
        "",
        "[fold]",
        "left = 40",
        "right = 40",
        "",
    ]
    text = tidy_text(tmp_path / "s.toml", FORMS)
    assert (
        "# of the tolerance\n[tolerance]              # its head\nlevel = 1                # one degree"
        in text
    )
    assert text.endswith("\n# alone\n# at the end\n")


def test_tidy_from_the_command_line() -> None:
    result = run(SAMPLES / "stages.toml", "--tidy")
    assert result.exit_code == 0 and result.stdout == tidy_text(SAMPLES / "stages.toml", FORMS)
    assert result.stdout.index("[base]") < result.stdout.index("[fold]") < result.stdout.index("[[stage]]")


def test_options_are_checked_before_anything_is_written(tmp_path: Path) -> None:
    spec = SAMPLES / "good_arch.toml"
    for option, name, message in (
        ("--picture", "x.jpg", "--picture: a name that ends in .svg or .png is wanted"),
        ("--motion", "x.mp4", "--motion: a name that ends in .gif or .html or .htm is wanted"),
        ("--template", "x.svg", "--template: a name that ends in .pdf is wanted"),
        ("--tolerance", "often", "a standard deviation in mm is wanted"),
        ("--tolerance", "-1", "a standard deviation in mm is wanted"),
    ):
        good = tmp_path / "good.svg"
        result = run(spec, "--picture", good, option, name)
        assert result.exit_code == 2, option
        (line,) = result.stderr.splitlines()
        assert message in line
        assert not good.exists()
    result = run()
    assert result.exit_code == 2 and "SPEC" in result.stderr
    result = run(spec, "--picture", tmp_path / "none" / "x.svg")
    assert result.exit_code == 2 and "does not exist" in result.stderr


@pytest.mark.parametrize(
    ("name", "short", "long"),
    [("A4", 210, 297), ("A5", 148, 210), ("A6", 105, 148), ("B5", 176, 250), ("letter", 215.9, 279.4)],
)
def test_paper_by_name(name: str, short: float, long: float, tmp_path: Path) -> None:
    """ISO 216:2007; letter is 8.5 by 11 inches (values as Debian's `paperconf` gives them)."""
    path = tmp_path / "spread.toml"
    for turned, page, depth in (("", short, long), (" landscape", long, short)):
        text = TWO_SIDED.replace("page = 148.5", f'paper = "{name}{turned}"').replace("depth = 210\n", "")
        for a, b in (("60", "30"), ("90", "32")):
            text = text.replace(f"= {a}", f"= {b}")
        path.write_text(text, encoding="utf-8")
        base = load_spec(path).base
        assert (base.page_left, base.page_right, base.depth) == pytest.approx((page, page, depth))


def test_help_of_design_loads_nothing_heavy() -> None:
    code = (
        "import sys\nfrom compare.cli import main\n"
        "try:\n    main(['design', '--help'])\nexcept SystemExit:\n    pass\n"
        "print([m for m in ('numpy', 'PIL', 'rich', 'reportlab') if m in sys.modules], file=sys.stderr)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]" and "--template" in done.stdout


def test_everything_in_inches(tmp_path: Path) -> None:
    """A spec in inches is shown, drawn and templated in inches; the mechanics are those of the same mm."""
    inches = tmp_path / "inches.toml"
    text = TWO_SIDED.replace('units = "mm"', 'units = "in"')
    sizes = {k: float(k) / 25.4 for k in ("148.5", "210", "40", "60", "12", "90")}
    for old, new in sizes.items():
        text = text.replace(f"= {old}", f"= {new:.6f}")
    text = text.replace("length = 0.8", "length = 0.0315").replace("matched = 0.8", "matched = 0.0315")
    inches.write_text(text, encoding="utf-8")
    pdf, svg = tmp_path / "cut.pdf", tmp_path / "sweep.svg"
    result = run(inches, "--template", pdf, "--picture", svg, "--tolerance", "hand")
    assert result.exit_code == 0 and "ridge, in" in result.stdout and " mm" not in result.stdout
    assert "1.502" in result.stdout  # 38.1576 mm
    assert "Height of the ridge, in" in svg.read_text(encoding="utf-8")
    document = pypdfium2.PdfDocument(pdf)
    assert [round(v / 72, 2) for v in document[0].get_size()] == [11.0, 8.5]  # letter
    assert "4 in from tick to tick" in document[0].get_textpage().get_text_range()
    document.close()


def test_a_faulty_design_exits_3_and_its_picture_says_the_same(tmp_path: Path) -> None:
    path = tmp_path / "arch.toml"
    path.write_text(TWO_SIDED.replace("leg = 40", "leg = 41", 1), encoding="utf-8")
    result = run(path, "--picture", tmp_path / "sweep.svg")
    assert result.exit_code == 3
    said = result.stdout.splitlines()[0]
    assert (
        "does not shut flat" in said
        and "Change [left] leg to 40 mm. (" in said
        and said.endswith("more below.)")
    )
    drawn = html.unescape((tmp_path / "sweep.svg").read_text(encoding="utf-8"))
    assert "The design does not shut flat" in drawn and "agrees" not in drawn
    data = json.loads(run(path, "--json").stdout)
    assert data["answer"] == " ".join(said.split()) and data["changes"][0]["value"] == 40


def test_what_scatters_too_much_is_not_praised_in_the_first_line() -> None:
    result = run(SAMPLES / "good_arch.toml", "--tolerance", "1.0")
    assert result.exit_code == 0
    assert "cut with this scatter only" in " ".join(result.stdout.split("\n\n")[0].split())
