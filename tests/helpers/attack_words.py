"""Text files disturbed by seed: lines, values and bytes that are other than they were."""

from typing import Final

import numpy as np

from tests.helpers.attack_texts import NASTY

HOW: Final = ("delete", "double", "move", "value", "key", "insert", "cell", "cut", "bytes", "number")


def disturbed_text(text: str, rng: np.random.Generator) -> tuple[str, bytes]:
    """Disturb a text in up to four ways; say how."""
    lines = text.splitlines()
    said: list[str] = []
    tail = b""
    for _ in range(int(rng.integers(1, 5))):
        how = str(rng.choice(HOW))
        said.append(how)
        if how == "bytes":
            tail += rng.bytes(int(rng.integers(1, 5)))
        elif lines:
            _disturb(lines, how, int(rng.integers(len(lines))), rng)
    raw = "\n".join(lines).encode("utf-8", "surrogatepass")
    at = int(rng.integers(len(raw) + 1))
    return "+".join(said), raw[:at] + tail + raw[at:] if tail else raw


def _value(rng: np.random.Generator) -> str:
    """Draw a value as no hand, or as a hand that slipped, writes it."""
    return str(rng.choice(NASTY)) if rng.integers(2) else f"{rng.normal() * 10.0 ** rng.integers(-3, 5):.6g}"


def _disturb(lines: list[str], how: str, at: int, rng: np.random.Generator) -> None:
    """Change the lines in place."""
    head, _, tail = lines[at].partition("=")
    match how:
        case "delete":
            del lines[at]
        case "double":
            lines.insert(at, lines[at])
        case "move":
            lines.insert(int(rng.integers(len(lines))), lines.pop(at))
        case "value":
            lines[at] = f"{head}= {_value(rng)}"
        case "key":
            lines[at] = f"{_value(rng)} ={tail}"
        case "insert":
            lines.insert(at, _value(rng))
        case "cell":
            cells = lines[at].split(",")
            cells[int(rng.integers(len(cells)))] = _value(rng)
            lines[at] = ",".join(cells)
        case "cut":
            lines[at] = lines[at][: int(rng.integers(20))]
        case "number":
            try:
                lines[at] = f"{head}= {float(tail.split('#')[0]) * rng.lognormal(0, 1):.6g}"
            except ValueError:
                pass
