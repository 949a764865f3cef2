"""Lots of a project: folders of photos in `lots`, and beside each its state and its report."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from compare.desk.project.check_folder import read_json, write_json

LEDGER: Final = "ledger.sqlite"
PHOTOS: Final = frozenset({".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif"})


@dataclass(frozen=True, slots=True)
class LotFolder:
    """A lot: `lots/monday/` with its photos; beside it `monday.lot.json` and `monday.lot.html`."""

    folder: Path

    @property
    def name(self) -> str:
        """Name of the folder."""
        return self.folder.name

    @property
    def state_file(self) -> Path:
        """Where it is written how far the lot is."""
        return self.folder.parent / f"{self.name}.lot.json"

    @property
    def report(self) -> Path:
        """The report."""
        return self.folder.parent / f"{self.name}.lot.html"

    def state(self) -> Mapping[str, Any]:
        """Return how far it is; {} if it was never begun."""
        return read_json(self.state_file) or {}

    def write_state(self, state: Mapping[str, Any]) -> None:
        """Write how far it is."""
        write_json(self.state_file, state)

    def photos(self) -> int:
        """Return how many photos lie in it."""
        return sum(1 for p in self.folder.rglob("*") if p.suffix.lower() in PHOTOS)


def lots_of(root: Path) -> list[LotFolder]:
    """Return the lots of a project's folder, by name."""
    home = root / "lots"
    if not home.is_dir():
        return []
    found = [LotFolder(p) for p in home.iterdir() if p.is_dir() and not p.name.startswith(".")]
    return sorted(found, key=lambda lot: lot.name)


def lot_named(root: Path, name: str) -> LotFolder | None:
    """Return a lot by its name, which is compared and never used as a path."""
    return next((lot for lot in lots_of(root) if lot.name == name), None)
