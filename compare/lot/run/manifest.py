"""Which photo shows which sample: from a manifest, from the names of the photos, or one photo each.

A manifest is a CSV with the columns `sample` and `photo`, one line per photo in the order the samples were
made; `time` is taken for the time it was made, `person` and every other column is a label (assembler, die,
shift ...). A naming rule such as "{die}-{sample}_{shot}" reads the same from file names.
"""

import os
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Final

from capture.csv_file import read_csv
from capture.printable import name_of, printable
from compare.compare_errors import LotError, LotOption
from compare.lot.run.unused_photos import LotNote, NoManifest, NotListed, NotThere, OffTheRule, Unused

MANIFEST: Final = "manifest.csv"
SUFFIXES: Final = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif")
MOST_PHOTOS: Final = 200_000  # a lot of 50,000 samples with four photos each
MOST_BYTES: Final = 50_000_000
_NEEDED: Final = ("sample", "photo")
_OWN: Final = ("sample", "photo", "time", "shot")


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """One photo of one sample.

    Attributes
    ----------
    path : of the photo. sample : its name. place : of the sample in the lot, 0 for the first made.
    made_at : as the manifest says, "" if it does not. labels : column -> value.
    """

    path: Path
    sample: str
    place: int
    made_at: str
    labels: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lot:
    """The photos of a folder and what belongs to them.

    Attributes
    ----------
    name : of the lot. shots : in the order the samples were made.
    missing : (photo, reason) of photos that are named and cannot be had.
    notes : what was left out or assumed.
    """

    name: str
    shots: tuple[Shot, ...]
    missing: tuple[tuple[str, Unused], ...]
    notes: tuple[LotNote, ...]

    @property
    def samples(self) -> tuple[tuple[Shot, ...], ...]:
        """The photos by sample, in order."""
        by_place: dict[int, list[Shot]] = {}  # names may look alike once they are fit to be shown
        for shot in self.shots:
            by_place.setdefault(shot.place, []).append(shot)
        return tuple(tuple(shots) for shots in by_place.values())


def _natural(name: str) -> list[tuple[int, int, str]]:
    """Sort key in which 2 comes before 10."""
    parts = re.split(r"(\d+)", name.lower())
    return [(1, int(p), "") if p.isdigit() else (0, 0, p) for p in parts]


def _photos(folder: Path) -> list[Path]:
    found = [p for p in folder.iterdir() if p.suffix.lower() in SUFFIXES and p.is_file()]
    return sorted((p for p in found if not p.name.startswith(".")), key=lambda p: _natural(p.name))


def _rows(path: Path) -> Iterator[tuple[int, dict[str, str]]]:
    """Yield line number and cells of a CSV with a header; comma, semicolon or tab between cells."""
    rows = read_csv(
        path, LotError, "the manifest", most_bytes=MOST_BYTES, most_rows=MOST_PHOTOS, marks=",;\t"
    )
    if not rows:
        raise LotError(f"{path.name}: the manifest is empty; its first line names the columns")
    header = [h.lower() for h in rows[0][1]]
    for column in _NEEDED:
        if column not in header:
            raise LotError(
                f"{path.name}, line 1: the column {column!r} is missing (it has: {', '.join(header)})"
            )
    if len(set(header)) < len(header):
        raise LotError(f"{path.name}, line 1: a column is named twice")
    for line, cells in rows[1:]:
        if len(cells) > len(header):
            raise LotError(f"{path.name}, line {line}: {len(cells)} cells, {len(header)} columns")
        yield line, dict(zip(header, cells, strict=False))


def _in_folder(folder: Path, name: str, where: str) -> Path:
    """Return the path of a photo that a manifest names: from the lot's folder down, and never out of it."""
    for kind in (PurePosixPath(name), PureWindowsPath(name)):
        if kind.anchor or ".." in kind.parts:
            raise LotError(f"{where}: {name} leaves the folder {folder.name}; name photos from there down")
    return folder / name


def _from_manifest(folder: Path, path: Path) -> Lot:
    shots: list[Shot] = []
    missing: list[tuple[str, Unused]] = []
    places: dict[str, int] = {}
    seen: dict[Path, int] = {}
    for line, row in _rows(path):
        sample, name = row.get("sample", ""), row.get("photo", "")
        where = f"{path.name}, line {line}"
        if not sample or not name:
            raise LotError(f"{where}: {'sample' if not sample else 'photo'} is empty")
        photo = _in_folder(folder, name, where)
        if photo in seen:
            raise LotError(f"{where}: {name} stands in line {seen[photo]} already")
        seen[photo] = line
        place = places.setdefault(sample, len(places))
        if not os.path.isfile(photo):  # False, too, where no file can be called so
            missing.append((printable(name), NotThere(path.name, line, folder.name)))
            continue
        labels = {printable(k): printable(v) for k, v in row.items() if k not in _OWN and v}
        made_at = printable(row.get("time", ""))
        shots.append(Shot(path=photo, sample=printable(sample), place=place, made_at=made_at, labels=labels))
    others = tuple(name_of(p) for p in _photos(folder) if p not in seen)
    notes = (NotListed(path.name, others),) if others else ()
    return Lot(name=name_of(folder), shots=tuple(shots), missing=tuple(missing), notes=notes)


def naming_pattern(rule: str) -> re.Pattern[str]:
    """Return the pattern of a naming rule: words in braces are parts, everything else stands for itself.

    Raises
    ------
    LotError : {sample} is missing, a part is named twice, or a brace is left open.
    """
    parts = re.split(r"(\{[a-z_]+\})", rule)
    names = [p[1:-1] for p in parts if re.fullmatch(r"\{[a-z_]+\}", p)]
    rest = "".join(p for p in parts if not re.fullmatch(r"\{[a-z_]+\}", p))
    if "sample" not in names or len(set(names)) < len(names) or "{" in rest or "}" in rest:
        raise LotError(
            LotOption.NAMING,
            f': a rule like "{{sample}}_{{shot}}" is wanted, each part once, got {rule!r}',
        )
    text = "".join(f"(?P<{p[1:-1]}>.+?)" if re.fullmatch(r"\{[a-z_]+\}", p) else re.escape(p) for p in parts)
    return re.compile(text)


def _from_names(folder: Path, photos: Sequence[Path], rule: str) -> Lot:
    pattern = naming_pattern(rule)
    places: dict[str, int] = {}
    shots: list[Shot] = []
    missing: list[tuple[str, Unused]] = []
    for path in photos:
        match = pattern.fullmatch(path.stem)
        if match is None:
            missing.append((name_of(path), OffTheRule(rule)))
            continue
        row = {part: printable(text) for part, text in match.groupdict().items()}
        shots.append(
            Shot(
                path=path,
                sample=row["sample"],
                place=places.setdefault(row["sample"], len(places)),
                made_at=row.get("time", ""),
                labels={k: v for k, v in row.items() if k not in _OWN},
            )
        )
    return Lot(name=name_of(folder), shots=tuple(shots), missing=tuple(missing), notes=())


def read_lot(folder: Path, manifest: Path | None = None, naming: str | None = None) -> Lot:
    """Find the photos of a folder and what belongs to them.

    Parameters
    ----------
    folder : of the photos. manifest : CSV; default manifest.csv in the folder, if it is there.
    naming : rule for the names of the photos, instead of a manifest.

    Raises
    ------
    LotError : no such folder, no photos in it, or a manifest that cannot be understood.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise LotError(f"{folder}: there is no such folder")
    folder = folder.absolute()
    if manifest is not None and naming is not None:
        raise LotError(LotOption.MANIFEST, " and ", LotOption.NAMING, ": give one of them")
    if manifest is None and naming is None and (folder / MANIFEST).is_file():
        manifest = folder / MANIFEST
    if manifest is not None:
        lot = _from_manifest(folder, manifest)
    else:
        photos = _photos(folder)
        if naming is not None:
            lot = _from_names(folder, photos, naming)
        else:
            shots = tuple(
                Shot(path=p, sample=printable(p.stem), place=i, made_at="", labels={})
                for i, p in enumerate(photos)
            )
            lot = Lot(name=name_of(folder), shots=shots, missing=(), notes=(NoManifest(),))
    if not lot.shots and not lot.missing:
        raise LotError(f"{folder}: there are no photos in this folder ({', '.join(SUFFIXES)})")
    return lot
