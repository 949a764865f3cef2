"""`foldgauge.toml`: what a folder remembers, for the desk and for the command line alike.

units = "mm"              # of new dummies: "mm" or "in"
language = "en"           # of the screens
rule = "guarded"          # or "simple"

[sheet]
bars = [150.2, 100.1]     # the two check bars as measured, across and up, mm; a third: how sure
use = "auto"              # how the sheet stands: "auto", "arch" or "backdrop"

[camera]
file = "my-phone.toml"    # as written by `foldgauge camera`, in this folder
"""

from dataclasses import dataclass, replace
from math import isfinite
from pathlib import Path
from typing import Any, Final, Literal, get_args

from capture.files import FileKind, read_toml, write_whole
from compare.desk.desk_errors import DeskError
from compare.desk.project.toml_text import toml_text

NAME: Final = "foldgauge.toml"
HEADING: Final = "What foldgauge remembers for this folder"
PROJECT_FILE: Final = FileKind("a folder's memory", (".toml",), f"# {HEADING}".encode())

Units = Literal["mm", "in"]
Rule = Literal["guarded", "simple"]
Use = Literal["auto", "arch", "backdrop"]
LANGUAGES: Final = ("en", "de")
SHORTEST_BAR_MM, LONGEST_BAR_MM = 20.0, 500.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Remembered:
    """What a folder remembers.

    Attributes
    ----------
    bars_mm : the sheet's two check bars as measured, and if known how well they were read; () = not measured.
    camera : name of a calibrated camera's file in the folder; "" = none.
    use, rule : how the sheet stands, and how it is judged, where nobody says otherwise.
    """

    units: Units = "mm"
    language: str = "en"
    rule: Rule = "guarded"
    bars_mm: tuple[float, ...] = ()
    use: Use = "auto"
    camera: str = ""


def read_project_file(path: Path) -> Remembered:
    """Read it.

    Raises
    ------
    DeskError : it cannot be read, or something in it is not as it should be.
    """
    foreign = f"{path}: not a file in TOML that foldgauge can read; mend it, or move it away"
    data, _ = read_toml(path, DeskError, missing=(f"no file {path}",), foreign=(foreign,))
    sheet, camera = _table(data, "sheet"), _table(data, "camera")
    return Remembered(
        units=_one_of(data, "units", get_args(Units), "mm"),
        language=_one_of(data, "language", LANGUAGES, "en"),
        rule=_one_of(data, "rule", get_args(Rule), "guarded"),
        bars_mm=checked_bars(sheet.get("bars", ()), f"{NAME}, [sheet] bars"),
        use=_one_of(sheet, "use", get_args(Use), "auto"),
        camera=checked_camera(camera.get("file", "")),
    )


def _table(data: dict[str, Any], name: str) -> dict[str, Any]:
    table = data.get(name, {})
    if not isinstance(table, dict):
        raise DeskError(f"{NAME}: [{name}] must be a table")
    return table


def _one_of(table: dict[str, Any], key: str, choices: tuple[str, ...], default: str) -> Any:
    value = table.get(key, default)
    if value not in choices:
        raise DeskError(f"{NAME}: {key} must be one of {', '.join(choices)}, got {str(value)[:40]!r}")
    return value


def checked_bars(value: Any, where: str) -> tuple[float, ...]:
    """Return bars as numbers.

    Raises
    ------
    DeskError : not two or three lengths in mm that a check bar can have.
    """
    if not isinstance(value, list | tuple) or any(
        isinstance(v, bool) or not isinstance(v, int | float) or not isfinite(v) for v in value
    ):
        raise DeskError(f"{where}: two lengths in mm are wanted, such as [150.2, 100.1]")
    if not value:
        return ()
    if len(value) not in (2, 3) or not all(SHORTEST_BAR_MM <= v <= LONGEST_BAR_MM for v in value[:2]):
        raise DeskError(f"{where}: two lengths in mm are wanted, such as [150.2, 100.1]")
    return tuple(float(v) for v in value)


def checked_camera(name: Any) -> str:
    """Return the name of a camera's file in the folder.

    Raises
    ------
    DeskError : it leads out of the folder.
    """
    if not isinstance(name, str) or name != Path(name).name or name.startswith("."):
        raise DeskError(f"{NAME}: [camera] file must be the name of a file in this folder")
    return name


def write_project_file(path: Path, remembered: Remembered) -> None:
    """Write it, whole or not at all; the folder's memory gives way to the new one.

    Raises
    ------
    DeskError : it cannot be written.
    """
    m = remembered
    data: dict[str, Any] = {"units": m.units, "language": m.language, "rule": m.rule}
    data["sheet"] = {"bars": list(m.bars_mm) or None, "use": m.use}
    if m.camera:
        data["camera"] = {"file": m.camera}
    text = toml_text(data, HEADING)
    write_whole(path, lambda p: p.write_text(text, encoding="utf-8"), DeskError, PROJECT_FILE, replace=True)


def changed(remembered: Remembered, **values: Any) -> Remembered:
    """Return it with some values changed."""
    return replace(remembered, **values)
