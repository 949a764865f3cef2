"""The sample that ships with the program: one photo of an invented dummy with a short leg, and its spec.

In a checkout the two files are those of `sample_images`; the wheel carries copies of them in
`compare/demo_data` (see pyproject.toml), so that `foldgauge demo` works after a plain `pip install` too.
"""

from pathlib import Path
from typing import Final

from capture.errors import FoldgaugeError

PHOTO: Final = "short_leg.jpg"
SPEC: Final = "short_leg.toml"
HOMES: Final = (
    Path(__file__).resolve().parents[1] / "demo_data",
    Path(__file__).resolve().parents[2] / "sample_images",
)


def demo_files() -> tuple[Path, Path]:
    """Return the paths of the sample photo and its spec.

    Raises
    ------
    FoldgaugeError : the installation is incomplete.
    """
    for home in HOMES:
        if (home / PHOTO).is_file() and (home / SPEC).is_file():
            return home / PHOTO, home / SPEC
    raise FoldgaugeError(
        f"the sample photo {PHOTO} is missing from this installation; install foldgauge again"
    )
