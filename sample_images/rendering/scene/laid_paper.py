"""Printed paper that lies on the page: the sheet's bottom band folded forward (the sill), the doorstep.

Paper lies where paper would: a straight fold bridges the gully of a spread that is not quite flat, bands
spring up, bow and lie askew. Numpy only.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from capture.sheet.doorstep_pdf import DOORSTEP_TOP_MM
from capture.sheet.marker_sheet import MarkerSheet
from capture.sheet.sill import DOORSTEP, Sill, sill_of

Array = NDArray[np.float64]

PAPER_MM = 0.12


@dataclass(frozen=True, slots=True, kw_only=True)
class Lie:
    """How one piece lies.

    Attributes
    ----------
    springs_deg : how far its near edge rises from the page. bow_mm : sagitta over its depth, + = middle up.
    settles : share of the way from a straight bridge over the gully down to its own page (0 to 1).
    coin : a coin lies on its place and holds it down.
    """

    springs_deg: float = 0.0
    bow_mm: float = 0.0
    settles: float = 1.0
    coin: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Folded:
    """How a sheet's bottom band was folded forward to lie on the page.

    Attributes
    ----------
    off_mm : how far the fold lies above its place on the paper. turn_deg : its turn on the paper.
    floats_mm : height of the fold over what it would touch.
    tick_off_mm : tick to spine, + = the tick lies right of it.
    lies : left and right half, or one for both.
    """

    off_mm: float
    turn_deg: float
    floats_mm: float
    tick_off_mm: float
    lies: tuple[Lie, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """How a doorstep was laid: far edge against the near ends, tick on the spine.

    Attributes
    ----------
    gap_mm : its far edge in front of the near ends' plane. turn_deg : about the vertical.
    floats_mm, tick_off_mm, lies : as of `Folded`.
    """

    gap_mm: float
    turn_deg: float
    floats_mm: float
    tick_off_mm: float
    lies: tuple[Lie, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """A band of the printed paper that is folded, on the flat paper (nominal mm of its page).

    Attributes
    ----------
    fold_y : height of the fold or far edge. depth_mm : from there to the near edge.
    spans : (left, right) of each piece. coins : place of the coin on each, None where there is none.
    hang : where a piece of a split band hangs, as a share of its span from the tick: at its outer end, where
        it is joined to the sheet's leg, or (0) at the tick.
    """

    fold_y: float
    depth_mm: float
    spans: tuple[tuple[float, float], ...]
    coins: tuple[tuple[float, float] | None, ...]
    hang: float


def band_of(sheet: MarkerSheet) -> Band:
    """Return what of a sheet is folded forward: its sill, or the lower band of its ring."""
    return _band(sill_of(sheet), 0.0, hang=0.9)


def doorstep_band(sheet: MarkerSheet) -> Band:
    """Return the doorstep on the second page of a sheet."""
    return _band(DOORSTEP, sheet.paper_mm[1] / 2 - DOORSTEP_TOP_MM, hang=0.0)


def _band(sill: Sill, up: float, *, hang: float) -> Band:
    return Band(
        fold_y=sill.fold_mm + up,
        depth_mm=sill.depth_mm,
        spans=tuple(p.span_mm for p in sill.parts),
        coins=tuple(p.coin_mm and (p.coin_mm[0], p.coin_mm[1] + up) for p in sill.parts),
        hang=hang,
    )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Piece:
    """One piece in place: flat paper point (x, y) lies at origin + u along + v forward + bow up.

    Attributes
    ----------
    pivot : (2,) paper point that lies at `origin`. turn_deg : of the fold on the paper.
    along, forward, up : unit vectors. span, depth_mm : extent along the fold and from it. bow_mm : sagitta.
    coin : (3,) middle of the underside of a coin that lies on it, None if there is none.
    """

    pivot: Array
    turn_deg: float
    origin: Array
    along: Array
    forward: Array
    up: Array
    span: tuple[float, float]
    depth_mm: float
    bow_mm: float
    coin: Array | None = None

    def on_paper(self, uv: Array) -> Array:
        """Points (N, 2) of the flat paper; given: distances along the fold and behind it (in front: < 0)."""
        t = math.radians(self.turn_deg)
        turn = np.array([[math.cos(t), -math.sin(t)], [math.sin(t), math.cos(t)]])
        out: Array = self.pivot + uv @ turn.T
        return out

    def bend(self, uv: Array) -> Array:
        """Height (N,) over the piece's flat."""
        s = np.clip(-uv[:, 1] / self.depth_mm, 0.0, 1.0)
        out: Array = 4 * self.bow_mm * s * (1 - s)
        return out

    def lies_at(self, on_paper: Array) -> Array:
        """Where a point (2,) of the flat paper lies, (3,)."""
        t = math.radians(self.turn_deg)
        x, y = on_paper - self.pivot
        uv = np.array([x * math.cos(t) + y * math.sin(t), y * math.cos(t) - x * math.sin(t)])
        high = self.bend(uv[None])[0]
        out: Array = self.origin + uv[0] * self.along - uv[1] * self.forward + high * self.up
        return out

    def placed(self) -> tuple[Array, Array]:
        """Rotation and shift that carry (u, v, height) to the frame the vectors are in."""
        return np.column_stack([self.along, -self.forward, self.up]), self.origin


def piece(
    band: Band,
    number: int,
    lie: Lie,
    *,
    fold_mm: float,
    fold_turn_deg: float,
    line_at: Array,
    line_along: Array,
    page_along: Array,
    scale: tuple[float, float],
) -> Piece:
    """Put one piece of a band down.

    Parameters
    ----------
    fold_mm : true height of the fold on the flat paper at x = 0. fold_turn_deg : its turn.
    line_at, line_along : where the fold's point x = 0 lies, and the fold's direction (both (3,)).
    page_along : direction of the page under this piece, across the spine, same frame.
    scale : print scale.
    """
    span = tuple(s * scale[0] for s in band.spans[number])
    hang = 0.0 if len(band.spans) == 1 else max(span, key=abs) * band.hang
    along = line_along.copy()
    if len(band.spans) > 1:  # it keeps the fold's heading and takes the page's slope
        along[1] = (1 - lie.settles) * line_along[1] + lie.settles * page_along[1]
        along /= np.linalg.norm(along)
    up = np.array([0.0, 1.0, 0.0]) - along[1] * along
    up /= np.linalg.norm(up)
    flat = np.cross(along, up)
    a = math.radians(lie.springs_deg)
    t = math.radians(fold_turn_deg)
    placed = Piece(
        pivot=np.array([hang * math.cos(t), fold_mm + hang * math.sin(t)]),
        turn_deg=fold_turn_deg,
        origin=line_at + hang * line_along,
        along=along,
        forward=math.cos(a) * flat + math.sin(a) * up,
        up=math.cos(a) * up - math.sin(a) * flat,
        span=(span[0] - hang, span[1] - hang),
        depth_mm=band.depth_mm * scale[1],
        bow_mm=lie.bow_mm,
    )
    at = band.coins[number] if lie.coin else None
    return placed if at is None else replace(placed, coin=placed.lies_at(np.array(at) * scale))
