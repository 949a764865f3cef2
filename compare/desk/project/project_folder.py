"""A folder as a project: its memory and its dummies."""

import os
import shutil
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from compare.desk.desk_errors import DeskError
from compare.desk.project.check_folder import UNFINISHED, CheckFolder
from compare.desk.project.dummy_folder import DummyFolder, slug_of
from compare.desk.project.project_file import (
    NAME,
    Remembered,
    read_project_file,
    write_project_file,
)

LOTS: Final = "lots"
OLD_S: Final = 86_400.0


@dataclass(frozen=True, slots=True)
class Project:
    """A project's folder."""

    root: Path

    def remembered(self) -> Remembered:
        """Return what the folder remembers.

        Raises
        ------
        DeskError : its file is not as it should be.
        """
        path = self.root / NAME
        return read_project_file(path) if path.exists() else Remembered()

    def remember(self, remembered: Remembered) -> None:
        """Write what is to be remembered."""
        write_project_file(self.root / NAME, remembered)

    def dummies(self) -> list[DummyFolder]:
        """Return its dummies, the one worked on last first: folders with a spec of the folder's own name."""
        found = []
        for path in self.root.iterdir():
            if not path.name.startswith(".") and path.is_dir() and (path / f"{path.name}.toml").is_file():
                found.append((path.stat().st_mtime, DummyFolder(path)))
        return [d for _, d in sorted(found, key=lambda pair: (-pair[0], pair[1].name))]

    def dummy(self, name: str) -> DummyFolder | None:
        """Return a dummy by its name, which is compared and never used as a path."""
        return next((d for d in self.dummies() if d.name == name), None)

    def add_dummy(self, title: str, spec_text: str) -> DummyFolder:
        """Make a dummy of a spec.

        Raises
        ------
        DeskError : it cannot be written.
        """
        taken = [*os.listdir(self.root), LOTS]
        name = slug_of(title, taken)
        dummy = DummyFolder(self.root / name)
        try:
            dummy.folder.mkdir()
        except OSError as err:
            raise DeskError(f"cannot make the folder {name}: {err.strerror}") from None
        dummy.save_spec(spec_text)
        return dummy

    def unfinished(self) -> Iterator[CheckFolder]:
        """Yield checks that are still to be done, the oldest first."""
        for dummy in reversed(self.dummies()):
            yield from (c for c in reversed(dummy.checks()) if c.state == "waiting")

    def sweep(self) -> None:
        """Clear away folders of checks that a stop left half made, a day after."""
        for dummy in self.dummies():
            for path in dummy.folder.glob(f"{UNFINISHED}*"):
                if time.time() - path.stat().st_mtime > OLD_S:
                    shutil.rmtree(path, ignore_errors=True)


def open_project(folder: Path) -> Project:
    """Return the project of a folder; its memory is begun if it has none.

    Raises
    ------
    DeskError : there is no such folder, or it cannot be written.
    """
    if not folder.is_dir():
        raise DeskError(f"there is no folder {folder}; make one, and open the desk in it")
    project = Project(folder.resolve())
    if not (project.root / NAME).exists():
        project.remember(Remembered())
    project.remembered()
    project.sweep()
    return project


def project_around(folder: Path) -> Project | None:
    """Return the project a folder belongs to, its own or that of a folder above it; None without one."""
    here = folder.resolve()
    return next((Project(p) for p in (here, *here.parents) if (p / NAME).is_file()), None)
