"""Photos that are not the user's own choice (sent to the desk, found in a watched folder): decoded elsewhere.

A decoder is a large program that reads what a stranger wrote. It works here in a process of its own, with
little memory, little time, no files to write and nothing of this process to see; what it hands back is
numbers, checked before they are believed.
"""

import dataclasses
import hashlib
import json
import math
import os
import subprocess
import sys
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, Final

import numpy as np

from capture.errors import PhotoError
from capture.files import FileBytes
from capture.lens_hint import Exif
from capture.photo import MAX_PIXELS, TOO_LARGE, Photo, file_bytes, photo_of_array, read_photo
from capture.printable import printable

MOST_HEAD_BYTES: Final = 10_000
"""What a worker may say about a photo beside its pixels."""

KEPT: Final = ("PATH", "SYSTEMROOT", "LD_LIBRARY_PATH", "TMPDIR", "LANG", "LC_ALL")
"""Variables of the environment that a worker may see."""

ONE_THREAD: Final = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "OPENCV_FOR_THREADS_NUM": "1"}
"""Every thread takes address space; one decodes as fast as many."""

LONGEST_TEXT: Final = 300
"""Characters of a refusal or of a camera's name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What decoding one photo may take.

    Attributes
    ----------
    memory_bytes : address space; 12 megapixels want 0.6 GB (nearly all of it the libraries), 50 0.8 GB,
        100 1.3 GB, 200 1.6 GB (tried, JPEG, with limits 0.1-0.3 GB apart).
    seconds : by the clock, start included; 200 megapixels took 9 s with other work on the same processors.
    """

    memory_bytes: int = 2_000_000_000
    seconds: float = 30.0


LIMITS: Final = Limits()


def read_untrusted(source: Path | bytes | FileBytes, limits: Limits = LIMITS) -> Photo:
    """Read a photograph in a process of its own, within limits.

    Parameters
    ----------
    source : path of a file, or the bytes of one (with a name, or without).

    Returns
    -------
    Photo, the same as `read_photo` gives.

    Raises
    ------
    PhotoError : as `read_photo`, or the photo takes more than its limits.
    """
    file = file_bytes(source)
    name = printable(file.name)
    head, pixels = _decoded_elsewhere(name, file.data, limits)
    error, shape, exif = _checked(head)
    if error:
        raise PhotoError(f"{name}: {error}")
    if shape is None or exif is None or len(pixels) != math.prod(shape):
        raise PhotoError(f"{name}: the photo cannot be decoded; export it as JPEG and try again")
    image = np.frombuffer(pixels, np.uint8).reshape(shape)
    return photo_of_array(image, name=name, exif=exif, sha256=hashlib.sha256(file.data).hexdigest())


def _decoded_elsewhere(name: str, data: bytes, limits: Limits) -> tuple[bytes, bytes]:
    """Return what the worker says of a photo (one line of JSON), and the bytes of its pixels."""
    start = "import sys; sys.path.insert(0, sys.argv[1]); from capture.untrusted_photo import work; work()"
    root = str(Path(__file__).resolve().parents[1])
    command = [
        sys.executable,
        "-I",
        "-c",
        start,
        root,
        str(limits.memory_bytes),
        str(math.ceil(limits.seconds)),
    ]
    env = {k: v for k, v in os.environ.items() if k in KEPT} | ONE_THREAD
    late = threading.Event()
    try:
        begun = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=env
        )
    except OSError as err:
        raise PhotoError(f"{name}: no process can be started to decode it: {err.strerror}") from None
    with begun as worker:
        assert worker.stdin is not None and worker.stdout is not None

        def end() -> None:
            late.set()
            worker.kill()

        clock = threading.Timer(limits.seconds, end)
        feeder = threading.Thread(target=_feed, args=(worker.stdin, data), daemon=True)
        clock.start()
        feeder.start()
        try:
            head = worker.stdout.readline(MOST_HEAD_BYTES)
            pixels = worker.stdout.read(3 * MAX_PIXELS + 1)
        finally:
            clock.cancel()
            worker.kill()  # it has said all that is wanted, or more than it should
            feeder.join()
    if late.is_set():
        raise PhotoError(f"{name}: the photo takes too long to decode; export it as JPEG and try again")
    if not head.endswith(b"\n"):
        raise PhotoError(f"{name}: decoding the photo failed; export it as JPEG, smaller if it is large")
    return head, pixels


def _feed(pipe: BinaryIO, data: bytes) -> None:
    try:
        pipe.write(data)
        pipe.close()
    except OSError:  # the worker has gone
        pass


def _checked(head: bytes) -> tuple[str, tuple[int, int, int] | None, Exif | None]:
    """Return refusal, shape and EXIF that a worker told; None or "" for what it did not tell as it should."""
    try:
        told: dict[str, Any] = json.loads(head)
        error = printable(str(told["error"]))[:LONGEST_TEXT]
        height, width = (int(v) for v in told["size"])
        if not (0 < height and 0 < width and height * width <= MAX_PIXELS):
            return error, None, None
        return error, (height, width, 3), exif_of(told["exif"])
    except (ValueError, TypeError, KeyError, OverflowError, RecursionError):
        return "", None, None


def exif_of(told: dict[str, Any]) -> Exif:
    """Return EXIF values from plain ones.

    Raises
    ------
    ValueError, TypeError, KeyError : a value is missing or of another kind.
    """

    def number(key: str) -> float | None:
        value = told[key]
        if value is not None and not (isinstance(value, float) and math.isfinite(value)):
            raise ValueError(key)
        return value

    size = told["stored_size"]
    return Exif(
        camera=printable(str(told["camera"]))[:LONGEST_TEXT],
        orientation=min(max(int(told["orientation"]), 1), 8),
        focal_mm=number("focal_mm"),
        focal_35_mm=number("focal_35_mm"),
        plane_px_per_mm=number("plane_px_per_mm"),
        stored_size=None if size is None else (int(size[0]), int(size[1])),
    )


def work() -> None:
    """Be the worker: a photo's bytes come in; a line of JSON and the pixels go out."""
    memory, seconds = int(sys.argv[2]), int(sys.argv[3])
    _limit(memory, seconds)
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what a library prints goes nowhere
    pixels: Any = b""
    told: dict[str, Any] = {"error": "", "size": (0, 0), "exif": None}
    try:
        photo = read_photo(FileBytes("", sys.stdin.buffer.read()))
        told |= {"size": photo.grey.shape, "exif": dataclasses.asdict(photo.exif)}
        pixels = photo.bgr.data
    except PhotoError as err:
        told["error"] = str(err).removeprefix(": ")
    except MemoryError:
        told["error"] = TOO_LARGE
    out.write(json.dumps(told).encode() + b"\n")
    out.write(pixels)
    out.flush()
    os._exit(0)


def _limit(memory_bytes: int, seconds: int) -> None:
    """Bound this process, so far as the system can."""
    try:
        import resource
    except ImportError:  # not on Windows: the clock alone bounds it there
        return
    for what, most in (
        (resource.RLIMIT_AS, memory_bytes),
        (resource.RLIMIT_CPU, seconds),
        (resource.RLIMIT_FSIZE, 0),
        (resource.RLIMIT_CORE, 0),
    ):
        resource.setrlimit(what, (most, most))
