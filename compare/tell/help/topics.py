"""The topics of `foldgauge help`: which there are, in the order a newcomer wants them, and their text."""

import re
from importlib import resources
from typing import Final

TOPICS: Final = (
    "photo",
    "spec",
    "design",
    "answer",
    "shut",
    "no-spec",
    "lots",
    "desk",
    "programs",
    "accuracy",
)
"""One document each, `TOPIC.md` beside this module."""

_PICTURE: Final = re.compile(r"!\[([^\]]*)\]\([^)]*\)")
_LINK: Final = re.compile(r"(?<!!)\[([^\]]*)\]\([^)]*\)")


def topic_text(topic: str) -> str:
    """Return the text of a topic for a terminal: Markdown, pictures replaced by what they show.

    Parameters
    ----------
    topic : one of `TOPICS`.

    Raises
    ------
    KeyError : there is no such topic.
    """
    if topic not in TOPICS:
        raise KeyError(topic)
    text = resources.files("compare.tell.help").joinpath(f"{topic}.md").read_text(encoding="utf-8")
    return _LINK.sub(r"\1", _PICTURE.sub(r"(picture: \1)", text))


def topic_title(topic: str) -> str:
    """Return the heading of a topic."""
    return topic_text(topic).splitlines()[0].removeprefix("# ")
