"""Reading a photograph: pixels upright in 8 bits, and what the file tells about the lens.

Pixels are converted once, here, and explicitly: 16 bits to 8 by dividing by 257, CMYK and palettes to colour,
EXIF orientation applied. Pixel (0, 0) is the centre of the top left pixel of the UPRIGHT picture.
"""

import hashlib
import io
import warnings
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from capture.arrays import Pixels
from capture.errors import PhotoError
from capture.files import FileBytes, read_whole
from capture.jpeg_damage import JpegDamageError, decode_whole, require_undisturbed, require_whole
from capture.lens_hint import Exif, LensHint, lens_hint, read_exif
from capture.printable import name_of, printable

MAX_PIXELS: Final = 210_000_000
"""More than any phone or camera gives (200 MP); beyond it a file is taken for a mistake or a bomb."""

MAX_FILE_BYTES: Final = 500_000_000

MIN_PIXELS: Final = 1_000_000
"""Below this no panel can be told from its neighbour."""

TOO_LARGE: Final = "decoding the photo takes more memory than there is; export it smaller"

UNDECODABLE: Final = (
    OSError,
    UnidentifiedImageError,
    ValueError,
    SyntaxError,
    EOFError,
    MemoryError,
    cv2.error,
)
"""What decoders raise over a file that is no whole picture."""

_KINDS: Final = "JPEG, PNG, TIFF or HEIC"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Photo:
    """One photograph, upright.

    Attributes
    ----------
    name : file name, for messages and reports.
    bgr : (H, W, 3) uint8, blue green red, read-only.
    grey : (H, W) uint8, luma of `bgr`, read-only.
    exif : what the file says about camera and lens (empty fields where it says nothing).
    lens : focal length in pixels with its doubt, or none.
    sha256 : hex digest of the file's bytes.
    """

    name: str
    bgr: Pixels = field(repr=False)
    grey: Pixels = field(repr=False)
    exif: Exif = Exif()
    lens: LensHint = LensHint()
    sha256: str = ""

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) in pixels."""
        return int(self.grey.shape[1]), int(self.grey.shape[0])


def photo_of_array(
    image: Pixels, *, name: str = "array", exif: Exif | None = None, sha256: str = ""
) -> Photo:
    """Wrap an upright grey (H, W) or BGR (H, W, 3) uint8 picture as a `Photo`."""
    if image.dtype != np.uint8 or image.ndim not in (2, 3) or (image.ndim == 3 and image.shape[2] != 3):
        raise ValueError(f"image must be uint8 (H, W) or (H, W, 3), got {image.dtype} {image.shape}")
    bgr = np.asarray(cv2.cvtColor(image, cv2.COLOR_GRAY2BGR) if image.ndim == 2 else image, dtype=np.uint8)
    grey = np.asarray(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY) if image.ndim == 3 else image, dtype=np.uint8)
    bgr, grey = bgr.view(), grey.view()
    bgr.setflags(write=False)
    grey.setflags(write=False)
    facts = exif or Exif()
    hint = lens_hint(facts, (grey.shape[1], grey.shape[0]))
    return Photo(name=name, bgr=bgr, grey=grey, exif=facts, lens=hint, sha256=sha256)


PhotoSource = str | Path | bytes | FileBytes | Pixels | Photo
"""A photo as a path, as a file's bytes (with a name, or without), as an upright picture, or read already."""


def read_photo(source: PhotoSource, name: str | None = None) -> Photo:
    """Read a photograph.

    Parameters
    ----------
    source : path of a file; the bytes of one; an upright grey (H, W) or BGR (H, W, 3) uint8 picture; or a
        `Photo`, which is returned as it is.
    name : what it is called in messages and reports; default the file's name, else "photo".

    Raises
    ------
    PhotoError
        The file is missing, not a picture of a kind we read, cut short, too big or too small.
    """
    if isinstance(source, Photo):
        return source if name is None else replace(source, name=name)
    if isinstance(source, np.ndarray):
        called = "photo" if name is None else name
        _check_size(called, (source.shape[1], source.shape[0]) if source.ndim > 1 else (0, 0))
        return photo_of_array(source, name=called)
    file = file_bytes(source)
    return _read_file(replace(file, name=printable(file.name if name is None else name)))


def file_bytes(source: str | Path | bytes | FileBytes) -> FileBytes:
    """Return the bytes of a photo file and what it is called.

    Raises
    ------
    PhotoError : there is no such file, or it is none.
    """
    if isinstance(source, FileBytes):
        return source
    if isinstance(source, bytes):
        return FileBytes("photo", source)
    return FileBytes(name_of(source), _read_bytes(Path(source)))


def _read_file(file: FileBytes) -> Photo:
    """Read a photo file that is in memory."""
    name, data = file.name, file.data
    if not data:
        raise PhotoError(f"{name}: the file is empty; copy it again")
    kind = _kind(data)
    if kind is None:
        raise PhotoError(f"{name}: not a {_KINDS} picture; export the photo as JPEG and try again")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # Pillow warns of big or odd files; we judge and say it in our words
        try:
            header = _open_header(data, kind)
            _check_size(name, header.size)
            exif = read_exif(header)
            if kind == "JPEG":
                _check_jpeg_is_whole(name, data)
            image = _decode(data, kind, header, exif.orientation)
        except Image.DecompressionBombError:
            raise PhotoError(
                f"{name}: more than {MAX_PIXELS // 1_000_000} megapixels; export it smaller"
            ) from None
        except JpegDamageError:
            raise PhotoError(
                f"{name}: the JPEG is damaged (part of its picture data is lost or mixed up); copy it again "
                "from the camera"
            ) from None
        except UNDECODABLE as err:
            if isinstance(err, MemoryError) or "memory" in str(err):  # decoders say it in their own ways
                raise PhotoError(f"{name}: {TOO_LARGE}") from None
            raise PhotoError(f"{name}: the {kind} file is damaged or cut short; copy it again") from None
    return photo_of_array(image, name=name, exif=exif, sha256=hashlib.sha256(data).hexdigest())


def _read_bytes(path: Path) -> bytes:
    try:
        size = path.stat().st_size if path.is_file() else 0
        if size > MAX_FILE_BYTES:
            raise PhotoError(
                f"{path.name}: file of {size / 1e6:.0f} MB is too big for a photo; export it as JPEG"
            )
        return read_whole(path, MAX_FILE_BYTES)
    except IsADirectoryError:
        raise PhotoError(f"{path} is a folder, not a photo; give the photo file itself") from None
    except FileNotFoundError:
        raise PhotoError(f"no photo at {path}; check the name") from None
    except (OSError, ValueError) as exc:  # ValueError: a name with a zero byte
        raise PhotoError(f"cannot read {path}: {getattr(exc, 'strerror', None) or exc}") from None


def _kind(data: bytes) -> str | None:
    """Kind of picture by its first bytes (a file's name may lie)."""
    if data.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if data.startswith((b"II*\x00", b"MM\x00*")):
        return "TIFF"
    if data[4:8] == b"ftyp" and data[8:12] in (b"heic", b"heix", b"heim", b"hevc", b"mif1", b"msf1", b"avif"):
        return "HEIC"
    return None


def _open_header(data: bytes, kind: str) -> Image.Image:
    """Open lazily: Pillow reads the header, not the pixels."""
    if kind == "HEIC":
        import pillow_heif  # only here: its library is slow to load

        pillow_heif.register_heif_opener()
    bound = Image.MAX_IMAGE_PIXELS
    Image.MAX_IMAGE_PIXELS = MAX_PIXELS  # Pillow refuses at twice its own bound; ours is looked at next
    try:
        return Image.open(io.BytesIO(data))
    finally:
        Image.MAX_IMAGE_PIXELS = bound


def _check_size(name: str, size: tuple[int, int]) -> None:
    width, height = size
    n_pixels = width * height
    if n_pixels > MAX_PIXELS:
        raise PhotoError(
            f"{name}: {width} x {height} pixels is more than {MAX_PIXELS // 1_000_000} megapixels; "
            "export it smaller"
        )
    if n_pixels < MIN_PIXELS:
        raise PhotoError(
            f"{name}: {width} x {height} pixels is too small to measure in; "
            "use the camera's full size (8 MP or more)"
        )


def _check_jpeg_is_whole(name: str, data: bytes) -> None:
    """Look for the end-of-image marker after the start of the first scan, without decoding.

    Inside entropy-coded data 0xFF is always followed by 0x00 or a restart marker (ITU-T T.81 (1992), B.1.1.5
    and F.1.2.3), so FF D9 after a start of scan can only be the end of an image; thumbnails lie before it.
    """
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if marker == 0xFF:
            at += 1  # fill byte
            continue
        if marker == 0xDA:
            if data.find(b"\xff\xd9", at) >= 0:
                return
            break
        at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    raise PhotoError(f"{name}: the JPEG is cut short (its end is missing); copy it again from the camera")


def _decode(data: bytes, kind: str, header: Image.Image, orientation: int) -> Pixels:
    """Upright 8-bit grey or BGR pixels."""
    if kind in ("HEIC", "TIFF"):  # Pillow and libheif turn these upright themselves
        return _decode_by_pillow(header, 1)
    if kind == "JPEG":
        return _upright(_decode_jpeg(data, header), orientation)
    if header.mode not in ("RGB", "RGBA", "L", "LA", "I", "I;16"):  # palettes
        return _decode_by_pillow(header, orientation)
    image = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)  # keeps 16 bits, not turned
    if image is None:
        raise ValueError("not decodable")
    return _upright(_to_8_bit(image), orientation)


def _decode_jpeg(data: bytes, header: Image.Image) -> Pixels:
    """BGR pixels of a JPEG as stored; what is damaged raises."""
    if header.mode in ("L", "RGB"):
        return decode_whole(data)
    require_whole(data)
    bgr = _decode_by_pillow(header, 1)
    require_undisturbed(np.asarray(cv2.cvtColor(bgr, cv2.COLOR_BGR2GRAY), dtype=np.uint8))
    return bgr


def _decode_by_pillow(header: Image.Image, orientation: int) -> Pixels:
    if header.mode.startswith("I;16"):
        return _upright(_to_8_bit(np.asarray(header).astype(np.uint16)), orientation)
    if header.mode in ("F", "I"):
        raise ValueError(f"pixels of mode {header.mode}")
    rgb = np.asarray(header.convert("RGB"), dtype=np.uint8)
    return _upright(np.ascontiguousarray(rgb[:, :, ::-1]), orientation)


def _to_8_bit(image: NDArray[np.generic]) -> Pixels:
    """Reduce 16 bits to 8 and drop an alpha channel."""
    if image.dtype == np.uint16:
        image = ((image.astype(np.uint32) + 128) // 257).astype(np.uint8)
    if image.dtype != np.uint8:
        raise ValueError(f"pixels of type {image.dtype}")
    if image.ndim == 3:
        image = image[:, :, 0] if image.shape[2] in (1, 2) else image[:, :, :3]
    return np.ascontiguousarray(image, dtype=np.uint8)


def _upright(image: Pixels, orientation: int) -> Pixels:
    """Turn stored pixels upright; EXIF orientation 1-8 (Exif 2.3, tag 0x0112)."""
    if orientation in (5, 6, 7, 8):
        image = np.swapaxes(image, 0, 1)
    if orientation in (2, 3, 6, 7):
        image = image[:, ::-1]
    if orientation in (3, 4, 7, 8):
        image = image[::-1]
    return np.ascontiguousarray(image)
