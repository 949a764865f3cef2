"""One check: a folder with the photos as they came, what was asked, and what came out. Never changed later.

    photo-1.jpg, photo-2.jpg    as they came, named by us
    asked.toml                  their own names; how they were taken; how it is judged
    crane.toml                  the spec as it was then
    points.csv                  joints pointed at by hand, if any
    advice.json                 what was seen of the sheet, before anything was measured
    check.json                  what `foldgauge check --json` prints
    refused.json                instead: why it could not be measured, in one line
    report.html                 everything on one page
    picture.jpg, drawn.json     the photo cut to the dummy, and what is drawn over it, in its pixels

The last file written is `check.json` or `refused.json`: a check with neither is still to be done, or was
interrupted, and is done (again) when the desk opens.
"""

import hashlib
import json
import re
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

from capture.files import FileKind, read_toml, read_whole, write_whole
from compare.desk.desk_errors import DeskError
from compare.desk.project.project_file import Rule, Use
from compare.desk.project.toml_text import toml_text

CHECK_NAME: Final = re.compile(r"(\d{4}-\d{2}-\d{2})-(\d{1,5})")
UNFINISHED: Final = ".unfinished-"
ASKED, ADVICE, ANSWER, REFUSED = "asked.toml", "advice.json", "check.json", "refused.json"
REPORT, PICTURE, DRAWN, POINTS = "report.html", "picture.jpg", "drawn.json", "points.csv"
OF_A_CHECK: Final = FileKind("a file of a check", (".json", ".html", ".jpg"))
MOST_JSON: Final = 20_000_000
MOST_KEPT: Final = 300

Way = Literal["desk", "phone", "folder"]
State = Literal["waiting", "refused", "done"]


@dataclass(frozen=True, slots=True)
class Brought:
    """A photo that was brought: what it is called where it came from, its content, an ending for its kind."""

    name: str
    path: Path
    suffix: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """How a check is to be done.

    Attributes
    ----------
    use, standoff_mm, bars_mm : as in `capture.setup.Setup`.
    camera : path of a calibrated camera's file; None = none. rule : how it is judged.
    points : text of a points file, joints set by hand; "" = none. by : which way the photos came.
    shut : True if the last photo shows the dummy shut, from above.
    """

    use: Use = "auto"
    standoff_mm: float | None = None
    bars_mm: tuple[float, ...] = ()
    camera: Path | None = None
    rule: Rule = "guarded"
    points: str = ""
    shut: bool = False
    by: Way = "desk"


@dataclass(frozen=True, slots=True)
class CheckFolder:
    """A check."""

    folder: Path

    @property
    def name(self) -> str:
        """Name of the folder: the day, and which of that day."""
        return self.folder.name

    @property
    def order(self) -> tuple[str, int]:
        """Day and number, to put checks in a row."""
        day, _, number = self.name.rpartition("-")
        return day, int(number)

    @property
    def state(self) -> State:
        """How far it is, as the files say."""
        if (self.folder / ANSWER).is_file():
            return "done"
        return "refused" if (self.folder / REFUSED).is_file() else "waiting"

    def answer(self) -> Mapping[str, Any] | None:
        """Return what came out; None if it is not there."""
        return _kept_json(self.folder / ANSWER)

    def drawn(self) -> Mapping[str, Any] | None:
        """Return what is drawn over the picture; None if it is not there."""
        return read_json(self.folder / DRAWN)

    def advice(self) -> Mapping[str, Any] | None:
        """Return what was seen of the sheet; None if it is not there."""
        return _kept_json(self.folder / ADVICE)

    def refusal(self) -> str:
        """Return why it could not be measured; "" if it could."""
        told = _kept_json(self.folder / REFUSED)
        return "" if told is None else str(told.get("line", ""))

    def asked(self) -> Mapping[str, Any]:
        """Return what was asked, as the file has it.

        Raises
        ------
        DeskError : it cannot be read.
        """
        path = self.folder / ASKED
        foreign = f"{path}: not as foldgauge wrote it"
        data, _ = read_toml(path, DeskError, missing=(f"{path} is missing",), foreign=(foreign,))
        return data

    def photos(self) -> list[tuple[str, Path]]:
        """Return its photos: the name each had where it came from, and the file."""
        rows = self.asked().get("photo", [])
        return [(str(r["name"]), self.folder / Path(str(r["file"])).name) for r in rows]

    @property
    def spec(self) -> Path:
        """The spec as it was then."""
        return self.folder / f"{self.folder.parent.name}.toml"


_kept: dict[Path, tuple[int, Mapping[str, Any] | None]] = {}


def _kept_json(path: Path) -> Mapping[str, Any] | None:
    """Return a JSON file, read once as long as it stays as it is."""
    try:
        stamp = path.stat().st_mtime_ns
    except OSError:
        return None
    there = _kept.get(path)
    if there is not None and there[0] == stamp:
        return there[1]
    if len(_kept) > MOST_KEPT:
        _kept.clear()
    _kept[path] = stamp, read_json(path)
    return _kept[path][1]


def read_json(path: Path) -> Mapping[str, Any] | None:
    """Return what a JSON file holds; None if there is none, or it cannot be read."""
    try:
        data = json.loads(read_whole(path, MOST_JSON))
    except (OSError, ValueError, RecursionError):
        return None
    return data if isinstance(data, dict) else None


def fill_check(folder: Path, photos: Sequence[Brought], asked: Asked, spec: Path) -> None:
    """Put the photos and what was asked into the folder of a new check."""
    rows = []
    for number, photo in enumerate(photos, start=1):
        target = folder / f"photo-{number}{photo.suffix}"
        shutil.copyfile(photo.path, target)
        with target.open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
        rows.append({"file": target.name, "name": photo.name, "sha256": digest})
    shutil.copyfile(spec, folder / spec.name)
    if asked.camera is not None:
        shutil.copyfile(asked.camera, folder / "camera.toml")
    if asked.points:
        (folder / POINTS).write_text(asked.points, encoding="utf-8")
    data: dict[str, Any] = {
        "use": asked.use,
        "standoff": asked.standoff_mm,
        "bars": list(asked.bars_mm) or None,
        "camera": "camera.toml" if asked.camera is not None else None,
        "rule": asked.rule,
        "points": POINTS if asked.points else None,
        "last_photo_shut": True if asked.shut else None,
        "brought_by": asked.by,
        "photo": rows,
    }
    (folder / ASKED).write_text(toml_text(data, "What was asked of foldgauge"), encoding="utf-8")


def write_json(path: Path, data: Mapping[str, Any], *, indent: int | None = None) -> None:
    """Write a JSON file of a check, whole or not at all."""
    write_part(path, json.dumps(data, ensure_ascii=False, allow_nan=False, indent=indent).encode("utf-8"))


def write_part(path: Path, data: bytes) -> None:
    """Write a file of a check, whole or not at all.

    Raises
    ------
    DeskError : it cannot be written.
    """
    write_whole(path, lambda p: p.write_bytes(data), DeskError, OF_A_CHECK, replace=True)


def refuse(folder: Path, line: str) -> None:
    """Write down why a check could not be done."""
    write_json(folder / REFUSED, {"line": line})
