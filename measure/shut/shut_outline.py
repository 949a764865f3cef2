"""The shut dummy from above: the outline of its page, and every piece of card that sticks out beyond it.

It lies on the dark field of the uncut sheet. Across each of its four sides the silhouette is located
(`measure.shut.shut_edges`). Where nothing sticks out the silhouette IS the page's edge, and that stretch
carries
the page's line; what lies farther out is card. Page edges are measured in the plane of the upper face, card
that sticks out in the middle of the thickness, with the doubt of where between the covers it lies.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from capture.arrays import Array
from capture.camera.view import View
from capture.solved import ClosedPlane
from measure.edges.silhouette import runs
from measure.measure_errors import MeasureError
from measure.reasons import Note, Noted
from measure.shut.shut_edges import TUNED as SIDES
from measure.shut.shut_edges import Side, page_line, side_of, way_of
from measure.shut.shut_scene import shut_scene

SEEN_MM = 0.4
"""Card that sticks out less is not told from a rough edge, mm; told where nothing sticks out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OutlineNumbers:
    """Tuned numbers, found on path-traced photographs of shut dummies."""

    whole_mm: float = 1.5
    """An outline larger than the page by more than this and the shut thickness, which boards may add at the
    spine they are wrapped round, is card along the whole edge."""
    shortest_mm: float = 2.0
    """A shorter piece that sticks out is a speck or a frayed corner."""
    edge_sd_mm: float = 0.05
    """Standard uncertainty of one silhouette, averaged over a stretch: cut card is not sharper, ..."""
    edge_sd_px: float = 0.3
    """... nor is it seen better than this, pixels."""
    smooth_mm: float = 2.5
    """Running median by which one speck does not set the amount."""


TUNED = OutlineNumbers()


@dataclass(frozen=True, slots=True, kw_only=True)
class Beyond:
    """A piece of card that sticks out beyond an edge of the page.

    Attributes
    ----------
    edge : "fore edge", "head", "tail" or "spine".
    amount_mm, u_mm : how far at most, and its standard uncertainty.
    from_mm, to_mm : its extent along the edge: from the tail upwards on the fore edge and the spine, from the
        spine outwards on head and tail.
    """

    edge: str
    amount_mm: float
    u_mm: float
    from_mm: float
    to_mm: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ClosedOutline:
    """The shut dummy as seen from above.

    Attributes
    ----------
    corners_mm : (4, 2) corners of the page in the plane of its upper face, sheet mm: spine and tail, fore
        edge and tail, fore edge and head, spine and head.
    size_mm : width (spine to fore edge) and depth (tail to head) of the page.
    size_u_mm : their standard uncertainties.
    beyond : pieces of card that stick out, largest first.
    silhouettes_mm : edge -> (N, 2) where the dummy gives way to the dark field, in the same plane.
    notes : what to know about it.
    """

    corners_mm: Array
    size_mm: tuple[float, float]
    size_u_mm: tuple[float, float]
    beyond: tuple[Beyond, ...]
    silhouettes_mm: Mapping[str, Array]
    notes: tuple[Note, ...] = ()

    def largest(self) -> dict[str, Beyond]:
        """Edge -> the piece that sticks out farthest there."""
        out: dict[str, Beyond] = {}
        for piece in self.beyond:
            if piece.edge not in out or piece.amount_mm > out[piece.edge].amount_mm:
                out[piece.edge] = piece
        return out


def outline_of(plane: ClosedPlane, page_mm: tuple[float, float | None] | None = None) -> ClosedOutline:
    """Measure the page outline of a shut dummy and the card beyond it.

    Parameters
    ----------
    plane : photo, view and heights, from `capture.solved.closed_plane`.
    page_mm : width (spine to fore edge) and depth (head to tail, None = not known) of the page as designed.
        Only used where card sticks out along a whole edge, which hides the page's own silhouette.

    Raises
    ------
    MeasureError
        If the dummy does not stand out from the sheet's dark field or does not lie within the ring.
    """
    photo, view = plane.solved.photo, plane.solved.view
    scene = shut_scene(plane)
    sides = [side_of(scene, k) for k in range(4)]
    lines = {s.edge: page_line(s) for s in sides}
    missing = [edge for edge, line in lines.items() if line is None]
    if missing:
        raise MeasureError(
            f"{photo.name}: the {missing[0]} of the shut dummy is not seen as a straight edge; lay it flat "
            "inside the ring of the uncut sheet, nothing on it, and photograph it from straight above"
        )
    known = {edge: line for edge, line in lines.items() if line is not None}
    known, notes = _within_whole_edges(sides, known, page_mm, plane.top_mm)
    corners = _corners(sides, known)
    width = float(np.mean([np.hypot(*(corners[1] - corners[0])), np.hypot(*(corners[2] - corners[3]))]))
    depth = float(np.mean([np.hypot(*(corners[3] - corners[0])), np.hypot(*(corners[2] - corners[1]))]))
    u_line = _edge_sd(view, plane)
    scale = view.cov[[11, 12], [11, 12]]
    size_u = tuple(
        float(np.sqrt(2 * u_line**2 + size**2 * (s + (plane.top_sd_mm / view.eye_mm()[2]) ** 2)))
        for size, s in zip((width, depth), scale, strict=True)
    )
    beyond = [piece for s in sides for piece in _beyond(s, known[s.edge], corners, view, plane)]
    return ClosedOutline(
        corners_mm=corners,
        size_mm=(width, depth),
        size_u_mm=(size_u[0], size_u[1]),
        beyond=tuple(sorted(beyond, key=lambda p: -p.amount_mm)),
        silhouettes_mm={s.edge: _silhouette_mm(s) for s in sides},
        notes=tuple(notes),
    )


def _silhouette_mm(side: Side) -> Array:
    """Points (N, 2) of a side's silhouette, where it is seen."""
    seen = np.isfinite(side.top)
    out: Array = side.a + side.along[seen, None] * way_of(side) + side.top[seen, None] * side.out
    return out


def _edge_sd(view: View, plane: ClosedPlane) -> float:
    eye = view.eye_mm()
    return max(TUNED.edge_sd_mm, TUNED.edge_sd_px / view.px_per_mm(eye[:2], plane.top_mm))


def _within_whole_edges(
    sides: Sequence[Side],
    lines: Mapping[str, tuple[float, float]],
    page_mm: tuple[float, float | None] | None,
    thick_mm: float,
) -> tuple[dict[str, tuple[float, float]], list[Note]]:
    """Move lines in where the outline is larger than the page is designed: card sticks out along all of it.

    Then the page's own edge cannot be told from the silhouette; the opposite edge and the design place it.
    Not so where part of the edge lies farther in than the rest: that part is the page, however wide it is.
    Boards that are wrapped round a thick spine make the outline wider than the page by up to the shut
    thickness.
    """
    out = dict(lines)
    notes: list[Note] = []
    if page_mm is None:
        return out, notes
    by_edge = {s.edge: s for s in sides}
    for edge, opposite, size in (("fore edge", "spine", page_mm[0]), ("head", "tail", page_mm[1])):
        if size is None:
            continue
        s, o = by_edge[edge], by_edge[opposite]
        middle = s.along[len(s.along) // 2]
        here = s.a + middle * way_of(s) + (out[edge][0] + out[edge][1] * middle) * s.out
        far = o.a + out[opposite][0] * o.out
        span = float((here - far) @ s.out)
        excess = span - size
        if excess > TUNED.whole_mm and _page_shows(s, out[edge]):
            notes.append(Note(kind=Noted.WIDER_PAGE, names=(edge,), mm=excess, size_mm=size))
        elif excess > TUNED.whole_mm + (thick_mm if edge == "fore edge" else 0.0):
            out[edge] = (out[edge][0] - excess, out[edge][1])
            notes.append(Note(kind=Noted.WHOLE_EDGE, names=(edge,), mm=excess, size_mm=size))
    return out, notes


def _page_shows(side: Side, line: tuple[float, float]) -> bool:
    """Whether something sticks out beyond a side's own line: then what lies on that line is the page."""
    over = side.top - line[0] - line[1] * side.along
    sticks = np.where(np.isfinite(over), over, 0.0) > SEEN_MM
    return any((last - first + 1) * SIDES.station_mm >= TUNED.shortest_mm for first, last in runs(sticks))


def _corners(sides: Sequence[Side], lines: Mapping[str, tuple[float, float]]) -> Array:
    """Corners (4, 2) of the page where the lines of its sides cross."""

    def line(edge: str) -> tuple[Array, Array]:
        s = next(x for x in sides if x.edge == edge)
        c0, c1 = lines[edge]
        way = way_of(s) + c1 * s.out
        return s.a + c0 * s.out, way / np.hypot(*way)

    out = []
    for first, second in (("spine", "tail"), ("fore edge", "tail"), ("fore edge", "head"), ("spine", "head")):
        (p, v), (q, w) = line(first), line(second)
        t = np.linalg.solve(np.column_stack([v, -w]), q - p)[0]
        out.append(p + t * v)
    return np.array(out)


def _beyond(
    side: Side, line: tuple[float, float], corners: Array, view: View, plane: ClosedPlane
) -> list[Beyond]:
    """Pieces of card that stick out beyond the page's line on one side."""
    over = side.card - line[0] - line[1] * side.along
    over = np.where(np.isfinite(side.card), over, 0.0)
    sticks = over > SEEN_MM
    start = {"fore edge": corners[1], "spine": corners[0], "head": corners[3], "tail": corners[0]}[side.edge]
    zero = float((start - side.a) @ way_of(side))
    out: list[Beyond] = []
    for first, last in runs(sticks):
        if (last - first + 1) * SIDES.station_mm < TUNED.shortest_mm:
            continue
        stretch = over[first : last + 1]
        amount = float(np.max(_smoothed(stretch)))
        at = side.a + side.along[(first + last) // 2] * way_of(side) + amount * side.out
        out.append(
            Beyond(
                edge=side.edge,
                amount_mm=amount,
                u_mm=_u_beyond(at, amount, side.out, view, plane),
                from_mm=_extent(over, side.along, first, -1) - zero,
                to_mm=_extent(over, side.along, last, +1) - zero,
            )
        )
    return out


def _smoothed(values: Array) -> Array:
    """Return the running median, so that one speck does not set the amount."""
    n = min(round(TUNED.smooth_mm / SIDES.station_mm), len(values))
    padded = np.pad(values, n // 2, mode="edge")
    out: Array = np.median(np.lib.stride_tricks.sliding_window_view(padded, n), axis=1)
    return out


def _extent(over: Array, along: Array, k: int, way: int) -> float:
    """Where the piece ends: half way between the last station on it and the next, or the corner itself."""
    j = k + way
    if not 0 <= j < len(over):
        return float(along[k] + way * SIDES.corner_mm)
    return float((along[k] + along[j]) / 2)


def _u_beyond(at: Array, amount: float, out: Array, view: View, plane: ClosedPlane) -> float:
    """Return the standard uncertainty of an amount: two edges, heights of page and card, print scale."""
    edge = _edge_sd(view, plane)
    px = view.project(np.array([[*at, plane.card_mm]]))

    def slope(z: float) -> float:
        step = (view.to_plane(px, z + 0.5) - view.to_plane(px, z - 0.5))[0]
        return float(step @ out)

    heights = (slope(plane.top_mm) * plane.top_sd_mm) ** 2 + (slope(plane.card_mm) * plane.card_sd_mm) ** 2
    scale = float(np.max(view.cov[[11, 12], [11, 12]])) * amount**2
    return float(np.sqrt(2 * edge**2 + heights + scale))
