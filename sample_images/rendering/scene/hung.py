"""The apron in a scene: a book that raises the dummy, and the printed strip hanging in front of it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from capture.sheet.apron import APRON_OUTER_MM, BOTTOM_MM, FOLD_SD_MM, PAPER_MM, SPINE_SD_MM
from capture.sheet.apron_pdf import APRON_PAGE_Y_MM
from sample_images.rendering.cards.card_dummy import Build, Part
from sample_images.rendering.cards.meshes import Mesh, box, join, paper
from sample_images.rendering.cards.own_linkage import page_direction

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Hung:
    """How an apron was put on.

    Attributes
    ----------
    book_mm : thickness of the book under the dummy.
    shift_mm : how far off its place the strip hangs: sideways, up, toward the camera.
    twist_deg : turn of the strip in its plane.
    """

    book_mm: float
    shift_mm: tuple[float, float, float]
    twist_deg: float


def put_on(rng: np.random.Generator) -> Hung:
    """Return an apron put on by hand, with the usual small errors."""
    x, y, z = rng.standard_normal(3) * (SPINE_SD_MM, FOLD_SD_MM, 0.05)
    return Hung(
        book_mm=float(rng.uniform(32.5, 42.0)), shift_mm=(x, y, z), twist_deg=0.05 * rng.standard_normal()
    )


def strip_of(
    hung: Hung, opening_deg: float, build: Build, scale: tuple[float, float], paper_mm: Sequence[float]
) -> tuple[Mesh, Mesh]:
    """Return the printed front and the plain back of both halves, in the dummy frame."""
    fronts, backs = [], []
    for side, sign in (("left", -1.0), ("right", 1.0)):
        u = sign * page_direction(side, opening_deg)  # the strip's x axis
        n = np.array([-u[1], u[0]])
        t = math.radians(hung.twist_deg)
        turn = np.eye(3)
        turn[:2, :2] = np.column_stack([u, n]) @ [[math.cos(t), -math.sin(t)], [math.sin(t), math.cos(t)]]
        x0, x1 = sorted((0.0, sign * APRON_OUTER_MM * scale[0]))
        low = BOTTOM_MM * scale[1]
        outline = np.array([[x0, low], [x1, low], [x1, 0.0], [x0, 0.0]])

        def uv(p: Array) -> Array:
            at = p / scale + [0.0, APRON_PAGE_Y_MM]
            out: Array = at / np.array(paper_mm) + 0.5
            return out

        front, back = paper(outline, 0.8 * PAPER_MM, uv, lambda p: np.zeros(len(p)))
        # the fold line lies on the lower surface of the page
        under = -(build.card_mm / 2 + build.base_mm) * n
        at = np.array([*under, PAPER_MM]) + turn @ np.array(hung.shift_mm)
        fronts.append(front.moved(turn, at))
        backs.append(back.moved(turn, at))
    return join(fronts), join(backs)


def book(hung: Hung, table_y: float, page_mm: float, build: Build) -> Part:
    """Return the book on the table (at `table_y`, dummy frame), its front flush with the near end."""
    half = 0.9 * page_mm
    low = np.array([-half, table_y, -build.base_depth_mm - 6.0])
    return Part(box(low, np.array([half, table_y + hung.book_mm - 0.02, 0.0])), "book")
