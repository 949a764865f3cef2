"""Photo files disturbed as cards, cables and programs disturb them: by seed, to be made again."""

from collections.abc import Callable
from typing import Final

import numpy as np

SIZES: Final = (16, 512, 4096)  # bytes that are lost or moved at once: a blink, a disk's block, a page

Disturbed = tuple[str, bytes]
"""How a file was disturbed, and what is left of it."""


def scan_of(data: bytes) -> tuple[int, int]:
    """Where a JPEG's first scan's coded data begin, and where the end marker stands (T.81 (1992), B.1.1)."""
    at = 2
    while data[at + 1] != 0xDA:
        at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return at + 2 + int.from_bytes(data[at + 2 : at + 4], "big"), len(data) - 2


def body_of(data: bytes) -> tuple[int, int]:
    """Where a picture's data begin and end; of files that are no JPEG all but the first hundred bytes."""
    return scan_of(data) if data.startswith(b"\xff\xd8\xff") else (min(100, len(data) // 2), len(data))


def cut(data: bytes, rng: np.random.Generator, size: int) -> bytes:
    """Its end is missing, as after a copy that was broken off and closed; a JPEG keeps its end marker."""
    a, b = body_of(data)
    return data[: int(rng.integers(a, b - 2))] + (b"\xff\xd9" if data.startswith(b"\xff\xd8") else b"")


def zeroed(data: bytes, rng: np.random.Generator, size: int) -> bytes:
    """A piece is nothing but zeros."""
    a, b = body_of(data)
    at = int(rng.integers(a, b - size))
    return data[:at] + bytes(size) + data[at + size :]


def lost(data: bytes, rng: np.random.Generator, size: int) -> bytes:
    """A piece is gone."""
    a, b = body_of(data)
    at = int(rng.integers(a, b - size))
    return data[:at] + data[at + size :]


def swapped(data: bytes, rng: np.random.Generator, size: int) -> bytes:
    """Two pieces stand in each other's place."""
    a, b = body_of(data)
    first, second = sorted(int(v) for v in rng.integers(a, b - size, 2))
    second = min(max(second, first + size), b - size)
    out = bytearray(data)
    out[first : first + size] = data[second : second + size]
    out[second : second + size] = data[first : first + size]
    return bytes(out)


def flipped(data: bytes, rng: np.random.Generator, size: int) -> bytes:
    """One bit is another."""
    a, b = body_of(data)
    out = bytearray(data)
    out[int(rng.integers(a, b))] ^= 1 << int(rng.integers(8))
    return bytes(out)


def scrawled(data: bytes, rng: np.random.Generator, size: int) -> bytes:
    """Some bytes of its head are others: sizes, tables, EXIF."""
    out = bytearray(data)
    end = max(min(body_of(data)[0], len(data)), 12)
    for at in rng.integers(4, end, int(rng.integers(1, 9))):
        out[int(at)] = int(rng.integers(256))
    return bytes(out)


def ended(data: bytes, rng: np.random.Generator, size: int) -> bytes:
    """It ends anywhere, its head included."""
    return data[: int(rng.integers(1, len(data)))]


def followed(data: bytes, rng: np.random.Generator, size: int) -> bytes:
    """Another piece of it, or noise, follows its end; the photo itself is whole."""
    at = int(rng.integers(0, len(data)))
    return data + (data[at : at + 50 * size] if rng.integers(2) else rng.bytes(size))


DISTURBED: Final[dict[str, Callable[[bytes, np.random.Generator, int], bytes]]] = {
    f.__name__: f for f in (cut, zeroed, lost, swapped, flipped, scrawled, ended, followed)
}


def disturbed(data: bytes, rng: np.random.Generator) -> Disturbed:
    """Disturb a photo file in one way, or now and then in two."""
    said: list[str] = []
    for _ in range(1 if rng.random() < 0.8 else 2):
        name = str(rng.choice(list(DISTURBED)))
        try:
            data = DISTURBED[name](data, rng, int(rng.choice(SIZES)))
        except (IndexError, ValueError):  # it has no scan any more, or is shorter than the piece
            break
        said.append(name)
    return "+".join(said), data
