"""The table of the spreads' benchmark finds its place in the measuring room's README, and only there."""

import pytest

from tests.benchmarks.bench_spreads import MARKS, README, with_table


def test_a_table_takes_the_place_of_the_one_before() -> None:
    page = f"above\n{MARKS[0]}\nold | table\n{MARKS[1]}\nbelow\n"
    once = with_table(page, "| new |\n")
    assert once == f"above\n{MARKS[0]}\n| new |\n{MARKS[1]}\nbelow\n"
    assert with_table(once, "| new |\n") == once


@pytest.mark.parametrize("page", ["nothing", f"{MARKS[0]}\n", f"{MARKS[1]}\n{MARKS[0]}\n"])
def test_a_page_without_its_marks_is_left_alone(page: str) -> None:
    with pytest.raises(ValueError, match="the page needs"):
        with_table(page, "| new |\n")


def test_the_rooms_readme_has_the_place() -> None:
    text = README.read_text()
    assert "| class | photos |" in text and with_table(text, "") != text
