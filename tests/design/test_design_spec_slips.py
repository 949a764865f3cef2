"""What word processors and fingers do to a spec: one line that says what to write; fractions; sizes."""

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from compare.cli import main
from compare.compare_errors import SpecError
from compare.design.constructions.registry import FORMS
from compare.design.load_spec import load_spec
from compare.design.spec.tidy import tidy_text
from compare.units import INCH, fraction_of, inches_of
from tests.helpers.made_profiles import TWO_SIDED

SAMPLES = Path(__file__).parents[2] / "sample_images"


def refused(raw: bytes, folder: Path) -> str:
    path = folder / "spread.toml"
    path.write_bytes(raw)
    result: Result = CliRunner().invoke(main, ["design", str(path)])
    assert result.exit_code == 2 and result.stdout == ""
    (line,) = result.stderr.splitlines()
    return line


def changed(old: str, new: str) -> bytes:
    assert old in TWO_SIDED
    return TWO_SIDED.replace(old, new, 1).encode("utf-8")


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("end", [b"\n", b"\r\n"])
def test_marks_and_line_ends_of_other_editors_are_read(mark: bytes, end: bytes, tmp_path: Path) -> None:
    path = tmp_path / "spread.toml"
    path.write_bytes(mark + TWO_SIDED.encode("utf-8").replace(b"\n", end))
    assert load_spec(path).lengths()["leg left"] == 40
    assert tidy_text(path, FORMS).startswith("title")


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (TWO_SIDED.encode("utf-16"), "the file is in UTF-16; save it again as plain text in UTF-8"),
        (TWO_SIDED.encode("utf-16-le"), "the file is in UTF-16; save it again"),
        ("title = '\u00e4'\n".encode("latin-1"), "save it again as plain text in UTF-8"),
        (changed("leg = 40", "leg = 40,5"), "a decimal comma; write 40.5"),
        (changed("leg = 40", "leg = 40,5  # as drawn"), "a decimal comma; write 40.5"),
        (changed("leg = 40", "leg = 40 mm"), "its unit is said by 'units'; write 40"),
        (changed("leg = 40", "leg = 1 9/16"), 'write "1 9/16"'),
        (changed("leg = 40", 'leg = "1 9/16"'), 'a fraction is in inches; say units = "in"'),
        (
            b"title = \xe2\x80\x9cThe crane\xe2\x80\x9d\n" + TWO_SIDED.encode(),
            'straight ones: title = "The crane"',
        ),
    ],
)
def test_one_line_says_what_to_write(raw: bytes, said: str, tmp_path: Path) -> None:
    assert said in refused(raw, tmp_path)


def test_the_line_is_named(tmp_path: Path) -> None:
    line = next(i for i, t in enumerate(TWO_SIDED.splitlines(), 1) if t.startswith("leg = 40"))
    assert f"spread.toml, line {line}: a decimal comma" in refused(
        changed("leg = 40", "leg = 40,5"), tmp_path
    )


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("1 9/16", 1.5625),
        ("1-9/16", 1.5625),
        ("9/16", 0.5625),
        ("3/64", 0.046875),
        ("1/0", None),
        ("leg", None),
    ],
)
def test_fractions_are_read(text: str, inches: float | None) -> None:
    assert inches_of(text) == inches


@pytest.mark.parametrize("parts", [1, 3, 24, 64, 100, 129, 640])
def test_fractions_shown_are_those_read(parts: int) -> None:
    text = fraction_of(parts / 64)
    assert (inches_of(text) or float(text)) == parts / 64
    assert INCH.words(parts / 64 * 25.4) == f"{text} in"


def test_a_spec_in_fractions_of_an_inch(tmp_path: Path) -> None:
    text = """
units = "in"
[base]
page = 5
[fold]
left = "1 9/16"
right = "1 9/16"
foot_left = "1/2"
foot_right = "1/2"
[right]
leg = "1 9/16"
page_spacing = 2
plane_spacing = 2
[plane]
right = "2 1/4"
"""
    path = tmp_path / "spread.toml"
    path.write_text(text, encoding="utf-8")
    assert load_spec(path).lengths()["leg right"] == pytest.approx(1.5625 * 25.4)
    assert 'leg = "1 9/16"' in tidy_text(path, FORMS)
    path.write_text(text.replace('leg = "1 9/16"', "leg = 1.5"), encoding="utf-8")
    result = CliRunner().invoke(main, ["design", str(path)])
    assert result.exit_code == 3 and "Change [right] leg to 1 9/16 in." in result.stdout
    assert " mm" not in result.stdout


@pytest.mark.parametrize(
    ("name", "old", "new", "said"),
    [
        ("vfold", "crease = 34", "crease = 340", "[vfold] crease: 340.00 mm is too long for pages of 100"),
        ("good_arch", "[plane]\nleft = ", "[plane]\nleft = 9", "too long for pages of 104.00 mm"),
    ],
)
def test_lengths_that_no_page_holds_are_refused(
    name: str, old: str, new: str, said: str, tmp_path: Path
) -> None:
    text = (SAMPLES / f"{name}.toml").read_text(encoding="utf-8")
    assert old in text
    assert said in refused(text.replace(old, new, 1).encode(), tmp_path)


def test_more_legs_and_stages_than_a_hand_glues_are_refused(tmp_path: Path) -> None:
    legs = "".join(
        f"[[right.legs]]\nleg = 40\npage_spacing = {5 + i}\nplane_spacing = {5 + i}\n" for i in range(12)
    )
    head, rest = TWO_SIDED.split("[right]")
    rest = rest[rest.index("[") :]
    assert "at most 8 of them" in refused((head + legs + rest).encode(), tmp_path)


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        ("1" * 400, "1111.*got 1111"),
        ("-" + "9" * 350, "got -9999"),
        ("inf", "got inf"),
        ("1979-05-27", "got 1979-05-27"),
    ],
)
def test_numbers_beyond_all_bounds(value: str, shown: str, tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text(f"[base]\npage = {value}\n")
    with pytest.raises(SpecError, match=f"line 2, .*page: a length .*{shown.rpartition('.*')[2]}") as caught:
        load_spec(tmp_path / "s.toml")
    assert len(str(caught.value)) < 200


@pytest.mark.parametrize("text", ["[base]\npage" + ".a" * 3000 + " = 1", "title" + ".a" * 3000 + " = 1",
                                  "[base]\npage = " + "[" * 500 + "]" * 500, "[base]\n" + "k" * 9000 + " = 1",
                                  "q" * 9000 + " = 1"])  # fmt: skip
def test_what_is_nested_or_long_beyond_reason_gets_a_short_line(text: str, tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text(text)
    with pytest.raises(SpecError) as caught:
        load_spec(tmp_path / "s.toml")
    assert len(str(caught.value)) < 400
