"""A spec changed value by value: comments stay, new keys go in, what cannot be done is said."""

import tomllib

import pytest

from compare.design.spec.forms import Key, Kind
from compare.desk.desk_errors import DeskError
from compare.desk.project.spec_editing import fields_of, typed_value, typed_values, with_values

TEXT = """# my crane
title = "Crane"
units = "in"

[base]
page = "4 1/8"   # as cut
[[right.legs]]
leg = 1.5
[[right.legs]]
leg = 1.5 # the outer one
"""


def test_values_change_and_everything_else_stays() -> None:
    values = {
        ("right.legs[2]", "leg"): "1.75", ("base", "page"): '"4 1/4"', ("", "title"): '"a # \\"b\\""',
        ("base", "depth"): "3", ("", "units"): '"in"',
    }  # fmt: skip
    out = with_values(TEXT, values)
    assert "# my crane" in out and "# as cut" in out and "# the outer one" in out
    data = tomllib.loads(out)
    assert data["title"] == 'a # "b"' and data["base"] == {"page": "4 1/4", "depth": 3}
    assert [leg["leg"] for leg in data["right"]["legs"]] == [1.5, 1.75]


def test_a_form_changes_only_what_was_typed_anew() -> None:
    fields = fields_of(TEXT)
    assert [f.name for f in fields] == ["title", "base.page", "right.legs[1].leg", "right.legs[2].leg"]
    same = {f.name: f.text for f in fields}
    assert typed_values(fields, same) == {}
    assert typed_values(fields, {**same, "right.legs[1].leg": " 1,25 "}) == {("right.legs[1]", "leg"): "1.25"}


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("40", "40"),
        ("40,5", "40.5"),
        ("1 9/16", '"1 9/16"'),
        ("-6", "-6"),
        ("4o", '"4o"'),
        ("1e5", '"1e5"'),
        ("", '""'),
    ],
)
def test_what_is_typed_becomes_a_value(typed: str, value: str) -> None:
    assert typed_value(typed, Key(Kind.LENGTH, "a length")) == value


def test_text_stays_text() -> None:
    assert typed_value('x"\n[base]\npage = 1', Key(Kind.TEXT, "text")) == '"x\\" [base] page = 1"'


@pytest.mark.parametrize("values", [{("plane", "left"): "1"}, {("base", "page"): "1"}])
def test_what_cannot_be_changed_by_itself_is_said(values: dict[tuple[str, str], str]) -> None:
    with pytest.raises(DeskError, match="text instead"):
        with_values("base = { page = 100 }\n", values)
    with pytest.raises(DeskError, match="TOML"):
        fields_of("[base\n")
