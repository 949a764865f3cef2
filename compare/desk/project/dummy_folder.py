"""One dummy of a project: a folder with its spec, and a folder for every check of it."""

import os
import re
import secrets
import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Final

from capture.files import FileKind, write_whole
from compare.desk.desk_errors import DeskError
from compare.desk.project.check_folder import (
    CHECK_NAME,
    UNFINISHED,
    Asked,
    Brought,
    CheckFolder,
    fill_check,
)

REMOVED: Final = ".removed"
SPEC_FILE: Final = FileKind("a spec", (".toml",))
MOST_NAME: Final = 60


@dataclass(frozen=True, slots=True)
class DummyFolder:
    """A dummy: its folder, which bears its name, and in it the spec of the same name."""

    folder: Path

    @property
    def name(self) -> str:
        """Name of the folder."""
        return self.folder.name

    @property
    def spec(self) -> Path:
        """The spec."""
        return self.folder / f"{self.name}.toml"

    def checks(self) -> list[CheckFolder]:
        """Return its checks, the newest first."""
        found = [CheckFolder(p) for p in self.folder.iterdir() if CHECK_NAME.fullmatch(p.name) and p.is_dir()]
        return sorted(found, key=lambda c: c.order, reverse=True)

    def check(self, name: str) -> CheckFolder | None:
        """Return one check by its name, which is compared and never used as a path."""
        return next((c for c in self.checks() if c.name == name), None)

    def save_spec(self, text: str) -> None:
        """Write the spec, whole or not at all.

        Raises
        ------
        DeskError : it cannot be written.
        """
        data = text.encode("utf-8")
        write_whole(self.spec, lambda p: p.write_bytes(data), DeskError, SPEC_FILE, replace=True)

    def add_check(
        self, photos: Sequence[Brought], asked: Asked, today: date, spec: Path | None = None
    ) -> CheckFolder:
        """Make the folder of a new check with its photos; it appears whole or not at all.

        spec : another than the dummy's of today, of the same name (that of an older check).

        Raises
        ------
        DeskError : it cannot be written.
        """
        unfinished = self.folder / f"{UNFINISHED}{secrets.token_hex(6)}"
        try:
            unfinished.mkdir()
            fill_check(unfinished, photos, asked, spec or self.spec)
            while True:
                target = self.folder / self._next_name(today)
                try:
                    os.rename(unfinished, target)
                    return CheckFolder(target)
                except OSError:
                    if not target.exists():  # nobody was quicker: it cannot be done
                        raise
        except OSError as err:
            shutil.rmtree(unfinished, ignore_errors=True)
            raise DeskError(f"cannot write into {self.folder}: {err.strerror}; make room there") from None

    def _next_name(self, today: date) -> str:
        day = today.isoformat()
        taken = [c.order[1] for c in self.checks() if c.order[0] == day]
        return f"{day}-{max(taken, default=0) + 1}"


def slug_of(title: str, taken: Sequence[str]) -> str:
    """Return a folder's name for a title: small letters, digits, hyphens; none that is taken."""
    plain = re.sub(r"[^a-z0-9]+", "-", title.lower().replace("ß", "ss")).strip("-")[:MOST_NAME].strip("-")
    base = plain or "dummy"
    names = {t.lower() for t in taken}
    name, number = base, 2
    while name in names:
        name, number = f"{base}-{number}", number + 1
    return name


def remove(root: Path, folder: Path) -> None:
    """Move a dummy or a check out of the way, into `.removed` of the project; nothing is deleted.

    Raises
    ------
    DeskError : it cannot be moved.
    """
    stamp = datetime.now().strftime("%Y%m%d-%H%M%S")
    words = "-".join(folder.relative_to(root).parts)
    try:
        (root / REMOVED).mkdir(exist_ok=True)
        os.rename(folder, root / REMOVED / f"{stamp}-{secrets.token_hex(2)}-{words}")
    except OSError as err:
        raise DeskError(f"{folder.name} cannot be moved away: {err.strerror}") from None
