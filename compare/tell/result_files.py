"""Writing a result file: whole or not at all, and over nothing but an older one of the same kind."""

from collections.abc import Callable
from pathlib import Path
from typing import Final

from PIL.PngImagePlugin import PngInfo

from capture import files
from capture.files import FileKind
from compare.compare_errors import OutputError

ANNOTATED: Final = FileKind("an annotated photo", (".png",), b"foldgauge: annotated photo")
TRACED: Final = FileKind("a traced photo", (".png",), b"foldgauge: traced photo")
REPORT: Final = FileKind("a report of a check", (".html",), b"foldgauge: check report")
TABLE: Final = FileKind("a table of a check", (".csv",), b"kind,name,unit,nominal,measured,U,deviation")
TRACED_TABLE: Final = FileKind("a table of figures", (".csv",), b"kind,name,unit,measured,U,remark")
DRAFT: Final = FileKind("a starter spec", (".toml",))
PICTURE: Final = FileKind("a picture of a design", (".svg", ".png"), b"foldgauge: design picture")
MOTION: Final = FileKind("a moving picture", (".gif", ".html", ".htm"), b"foldgauge: design motion")
TEMPLATE: Final = FileKind("a template", (".pdf",), b"foldgauge: template")
LOT_REPORT: Final = FileKind("a report of a lot", (".html",), b"foldgauge: lot report")
HISTORY: Final = FileKind("a history of lots", (".html",), b"foldgauge: history report")
EXPORT: Final = FileKind("an export of a ledger", (".csv", ".parquet", ".jsonl"), b"photos_sha256")


def write_whole(path: Path, make: Callable[[Path], object], kind: FileKind, *, replace: bool = False) -> None:
    """Let `make` write a temporary file beside `path`, then put it in its place in one step.

    Parameters
    ----------
    kind : of file; only an older one of the same kind gives way.
    replace : True to replace whatever stands there, as the user asked for.

    Raises
    ------
    OutputError : the file cannot be written, or another one stands there; nothing is left behind.
    """
    files.write_whole(path, make, OutputError, kind, replace=replace)


def png_mark(kind: FileKind) -> PngInfo:
    """Return the mark of a kind of file for a PNG (its "Software" keyword; PNG 3rd ed., 11.3.3.2)."""
    info = PngInfo()
    assert kind.mark is not None
    info.add_text("Software", kind.mark.decode("ascii"))
    return info
