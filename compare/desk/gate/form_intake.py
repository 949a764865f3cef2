"""Forms as they come in: token checked, fields as text, photos bounded and known by their first bytes."""

import secrets
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from http import HTTPStatus
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request

from capture.printable import name_of
from compare.desk.desk_errors import DeskError
from compare.desk.project.check_folder import Brought

MOST_FILES: Final = 13  # twelve photos of one dummy, and one of it shut
LOT_FILES: Final = 500
MOST_FIELDS: Final = 300
MOST_FIELD_BYTES: Final = 200_000
MOST_PHOTO_BYTES: Final = 300_000_000
CHUNK: Final = 1 << 20
LONGEST_NAME: Final = 120
FORM_TOKEN: Final = "form_token"
HEADER: Final = "x-form-token"

_HEIC: Final = (b"heic", b"heix", b"heim", b"hevc", b"mif1", b"msf1", b"avif")


def suffix_of(head: bytes) -> str:
    """Return the ending for a photo's kind by its first bytes, whatever it is called; "" for no photo."""
    if head.startswith(b"\xff\xd8\xff"):
        return ".jpg"
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return ".png"
    if head.startswith((b"II*\x00", b"MM\x00*")):
        return ".tif"
    return ".heic" if head[4:8] == b"ftyp" and head[8:12] in _HEIC else ""


def require_token(request: Request, given: str) -> None:
    """Refuse what carries no form token of ours.

    Raises
    ------
    HTTPException : 403.
    """
    if not secrets.compare_digest(given.encode(), str(request.scope["form_token"]).encode()):
        raise HTTPException(HTTPStatus.FORBIDDEN, "This form is no longer valid; load the page again.")


@dataclass(frozen=True, slots=True)
class Form:
    """A form: its fields as text."""

    data: FormData

    def text(self, name: str, default: str = "") -> str:
        """Return a field."""
        value = self.data.get(name, default)
        return value if isinstance(value, str) else default

    def files(self, name: str) -> list[UploadFile]:
        """Return the files of a field; an empty file field holds one without a name."""
        found = [f for f in self.data.getlist(name) if isinstance(f, UploadFile)]
        return [f for f in found if f.filename or f.size]


@asynccontextmanager
async def form_of(request: Request, most_files: int = MOST_FILES) -> AsyncIterator[Form]:
    """Read a form and check its token; its files are gone afterwards.

    Raises
    ------
    HTTPException : 403 without the token, 400 for no form.
    """
    async with request.form(
        max_files=most_files, max_fields=MOST_FIELDS, max_part_size=MOST_FIELD_BYTES
    ) as data:
        form = Form(data)
        require_token(request, request.headers.get(HEADER, "") or form.text(FORM_TOKEN))
        yield form


@asynccontextmanager
async def photos_of(files: list[UploadFile]) -> AsyncIterator[list[Brought]]:
    """Put uploaded photos into a temporary folder under names of ours; gone afterwards.

    Raises
    ------
    DeskError : one is empty, too large, or no photo.
    """
    with TemporaryDirectory(prefix="foldgauge-desk-") as folder:
        out = []
        for number, file in enumerate(files):
            out.append(await _stored(file, Path(folder) / str(number)))
        yield out


async def _stored(file: UploadFile, path: Path) -> Brought:
    name = (name_of((file.filename or "photo").replace("\\", "/")) or "photo")[-LONGEST_NAME:]
    size, head = 0, b""
    with path.open("wb") as out:
        while chunk := await file.read(CHUNK):
            head = head or chunk[:16]
            size += len(chunk)
            if size > MOST_PHOTO_BYTES:
                raise DeskError(f"{name}: more than {MOST_PHOTO_BYTES // 1_000_000} MB; export it as JPEG")
            out.write(chunk)
    suffix = suffix_of(head)
    if not suffix:
        raise DeskError(f"{name}: not a JPEG, PNG, TIFF or HEIC picture; send the photo itself")
    return Brought(name, path, suffix)
