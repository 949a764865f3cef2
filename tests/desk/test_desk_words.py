"""The catalogue: every text that is asked for is there, in every language, with the same blanks."""

import re
from pathlib import Path

import pytest

from capture.advice import Weak
from compare.desk.words.advice_text import CHANGES
from compare.desk.words.catalogue import LANGUAGES, catalogue

DESK = Path(__file__).resolve().parents[2] / "compare" / "desk"
BLANK = re.compile(r"\{(\w+)\}")


def asked_for() -> tuple[set[str], set[str]]:
    """Keys in templates and modules: whole ones, and beginnings of those put together."""
    whole: set[str] = set()
    begun: set[str] = set()
    for path in [*DESK.rglob("*.jinja"), *DESK.rglob("*.py")]:
        text = path.read_text(encoding="utf-8")
        whole |= set(re.findall(r"\b(?:t|words|words_of\(\w+\))\(\s*\"(\w+\.[\w.-]+)\"\s*[,)]", text))
        begun |= set(re.findall(r"\bt\(\"(\w+\.\w*)\" ~", text))
        begun |= {b.rstrip("{") for b in re.findall(r"words\(f\"(\w+\.\w*)\{", text)}
    return whole, begun


def test_every_text_asked_for_is_there_and_none_lies_about() -> None:
    whole, begun = asked_for()
    texts = catalogue("en").texts
    assert len(whole) > 80
    assert whole <= set(texts)
    unused = {k for k in texts if k not in whole and not k.startswith(tuple(begun))}
    assert unused == set()


@pytest.mark.parametrize("language", LANGUAGES)
def test_languages_have_the_same_texts_and_blanks(language: str) -> None:
    ours, theirs = catalogue("en").texts, catalogue(language).texts
    assert set(ours) == set(theirs)
    for key, text in ours.items():
        assert sorted(BLANK.findall(text)) == sorted(BLANK.findall(theirs[key])), key
        assert theirs[key].strip(), key


def test_all_that_may_be_weak_in_a_photo_is_known() -> None:
    assert {w.name for w in Weak} == CHANGES
