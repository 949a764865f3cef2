"""Which piece of a dummy goes on which sheet of paper, and where."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth

from compare.compare_errors import OutputError
from compare.design.pieces.pieces import Piece
from compare.design.spec.paper_sizes import PAPER
from compare.design.spec.spec import Spec
from compare.tell.words.designs.piece_words import piece_note
from compare.units import Unit

MARGIN: Final = 12.0  # mm
GAP: Final = 6.0
FONT, BOLD = "Helvetica", "Helvetica-Bold"
NAME_SIZE, NOTE_SIZE = 8.0, 6.5  # points
NOTE_STEP: Final = 2.8  # mm from line to line of a note
NOTE_WIDTH: Final = 40.0  # mm; a note over a narrower piece may be so wide
HEAD: Final = 6.0  # mm for a piece's name
Papers = tuple[tuple[str, float, float], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """A piece, where its lower left corner lies on its page (mm), and the lines above it."""

    piece: Piece
    x: float
    y: float
    note: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Page:
    """A page of the template: paper (width, height in mm) and the pieces on it."""

    paper: tuple[float, float]
    placed: tuple[Placed, ...]


def _room(paper: tuple[float, float]) -> tuple[float, float]:
    """Return width and height free for pieces; the foot of a page holds its check bar."""
    return paper[0] - 2 * MARGIN, paper[1] - 2 * MARGIN - 14.0


def papers_of(spec: Spec) -> tuple[tuple[str, float, float], ...]:
    """Return the papers to print on, smallest first: those of the spec's units, then large ISO ones."""
    small = ("letter", "tabloid") if spec.units == "in" else ("a4", "a3")
    return tuple((name, *PAPER[name]) for name in (*small, "a2", "a1", "a0"))


def _paper_for(piece: Piece, papers: Papers, unit: Unit) -> tuple[tuple[float, float], Piece]:
    """Return the smallest paper (landscape) a piece fits on, and the piece turned as it fits.

    Raises
    ------
    OutputError : no paper up to A0 is large enough.
    """
    for _, short, long in papers:
        wide, high = _room((long, short))
        for candidate in (piece, piece.turned()):
            w, h = _cell(candidate, unit)
            if w <= wide and h <= high:
                return (long, short), candidate
    w, h = piece.size()
    raise OutputError(
        f"the {piece.name} ({w:.0f} x {h:.0f} mm) does not fit on a sheet of A0; no template made"
    )


def note_lines(piece: Piece, unit: Unit) -> tuple[str, ...]:
    """Return a piece's note in lines that stand above it, never on it."""
    note = piece_note(piece, unit)
    return wrapped(note, max(piece.size()[0], NOTE_WIDTH) * mm, NOTE_SIZE) if note else ()


def wrapped(text: str, width: float, size: float) -> tuple[str, ...]:
    """Break a line of text to a width in points."""
    out = [""]
    for word in text.split():
        longer = f"{out[-1]} {word}".strip()
        if out[-1] and stringWidth(longer, FONT, size) > width:
            out.append(word)
        else:
            out[-1] = longer
    return tuple(out)


def _cell(piece: Piece, unit: Unit) -> tuple[float, float]:
    """Return width and height of a piece with its name and note above it, mm."""
    w, h = piece.size()
    note = note_lines(piece, unit)
    texts = [stringWidth(piece.name, BOLD, NAME_SIZE), *(stringWidth(t, FONT, NOTE_SIZE) for t in note)]
    return max(w, *(t / mm for t in texts)), h + HEAD + NOTE_STEP * len(note)


def pages_of(pieces: Sequence[Piece], papers: Papers, unit: Unit) -> tuple[Page, ...]:
    """Lay the pieces out on pages, shelf by shelf, tallest first."""
    out: list[Page] = []
    fitted = [_paper_for(p, papers, unit) for p in pieces]
    for paper in dict.fromkeys(paper for paper, _ in fitted):
        wide, high = _room(paper)
        todo = sorted((p for q, p in fitted if q == paper), key=lambda p: -p.size()[1])
        placed: list[Placed] = []
        x = y = shelf = 0.0
        for piece in todo:
            w, h = _cell(piece, unit)
            if x > 0 and x + w > wide:
                x, y, shelf = 0.0, y + shelf + GAP, 0.0
            if placed and y + h > high:
                out.append(Page(paper, tuple(placed)))
                placed, x, y, shelf = [], 0.0, 0.0, 0.0
            placed.append(Placed(piece, MARGIN + x, paper[1] - MARGIN - y - h, note_lines(piece, unit)))
            x, shelf = x + w + GAP, max(shelf, h)
        out.append(Page(paper, tuple(placed)))
    return tuple(out)
