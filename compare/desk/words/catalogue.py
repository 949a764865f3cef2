"""All text of the screens in one catalogue, a file a language: `en.toml`, `de.toml`.

What the results say (answers, repairs, cautions) is `compare.tell`'s and in English.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Final

LANGUAGES: Final[Mapping[str, str]] = {"en": "English", "de": "Deutsch"}


@dataclass(frozen=True, slots=True)
class Catalogue:
    """The texts of one language, by section and name: "bench.title"."""

    language: str
    texts: Mapping[str, str]

    def __call__(self, key: str, **values: object) -> str:
        """Return a text, with values put in.

        Raises
        ------
        KeyError : there is no such text.
        """
        text = self.texts[key]
        return text.format(**values) if values else text


@cache
def catalogue(language: str) -> Catalogue:
    """Return the catalogue of a language."""
    text = resources.files("compare.desk.words").joinpath(f"{language}.toml").read_text(encoding="utf-8")
    sections = tomllib.loads(text)
    return Catalogue(
        language,
        {f"{section}.{name}": said for section, texts in sections.items() for name, said in texts.items()},
    )
