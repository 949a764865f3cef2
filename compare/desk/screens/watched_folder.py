"""Watched folders: a photo that is put into a dummy's folder by other means becomes a check as well."""

import asyncio
import os
from contextlib import suppress
from datetime import date
from pathlib import Path
from typing import Final

from capture.errors import FoldgaugeError
from capture.printable import name_of
from compare.desk.gate.form_intake import LONGEST_NAME, suffix_of
from compare.desk.project.check_folder import Asked, Brought, CheckFolder
from compare.desk.project.dummy_folder import DummyFolder
from compare.desk.project.lot_folder import PHOTOS
from compare.desk.project.project_folder import Project
from compare.desk.screens.desk_pages import Desk

EVERY_S: Final = 2.0
Seen = dict[Path, tuple[int, int]]
"""Size and time of change of each photo when it was last looked at."""


async def watch(desk: Desk) -> None:
    """Look every few seconds, for ever; a photo is taken when it has stopped growing."""
    seen: Seen = {}
    while True:
        await asyncio.sleep(EVERY_S)
        with suppress(OSError):
            for check in await asyncio.to_thread(take_in, desk.project, seen):
                desk.queue.add(check)


def take_in(project: Project, seen: Seen) -> list[CheckFolder]:
    """Make checks of photos that lie in the dummies' folders and are the same as the last time."""
    out: list[CheckFolder] = []
    there: Seen = {}
    for dummy in project.dummies():
        for path in sorted(dummy.folder.iterdir()):
            if path.suffix.lower() not in PHOTOS or path.name.startswith(".") or not path.is_file():
                continue
            told = path.stat()
            there[path] = told.st_size, told.st_mtime_ns
            if seen.get(path) == there[path] and told.st_size > 0:
                with suppress(FoldgaugeError):
                    out.append(_taken(project, dummy, path))
                    del there[path]
    seen.clear()
    seen.update(there)
    return out


def _taken(project: Project, dummy: DummyFolder, path: Path) -> CheckFolder:
    """Make a check of a photo, which moves into the check's folder."""
    remembered = project.remembered()
    with path.open("rb") as file:
        suffix = suffix_of(file.read(16)) or path.suffix.lower()
    asked = Asked(
        use=remembered.use,
        bars_mm=remembered.bars_mm,
        camera=project.root / remembered.camera if remembered.camera else None,
        rule=remembered.rule,
        by="folder",
    )
    check = dummy.add_check([Brought(name_of(path)[-LONGEST_NAME:], path, suffix)], asked, date.today())
    os.unlink(path)  # its copy is in the check
    return check
