"""The shut dummy as photographed from above, and beside what the lengths predict."""

from dataclasses import dataclass
from typing import Final

from capture.camera.view import View
from capture.photo import Photo, PhotoSource
from capture.setup import Setup
from capture.solved import ClosedFact, closed_plane
from compare.design.spec.spec import Spec
from compare.quantities.measured import Measured
from compare.verdict.shut_reach import shut
from compare.vocabulary import FORE_EDGES, Kind
from measure.shut.shut_outline import SEEN_MM, ClosedOutline, outline_of
from measure.sides import SIDES

STRIP_LAYERS: Final = 4  # layers of card between the pages of a shut spread: fold and plane, each doubled
NOTHING_U_MM: Final = 0.25  # what is not seen to stick out sticks out less than about half a millimetre


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ShutPhoto:
    """A closed photo measured: photo and view, thickness used, outline, and what was taken for granted."""

    photo: Photo
    view: View
    thickness_mm: float
    outline: ClosedOutline
    taken: tuple[ClosedFact, ...] = ()

    @property
    def name(self) -> str:
        """The photo's file name."""
        return self.photo.name

    @property
    def sha256(self) -> str:
        """The photo's hash."""
        return self.photo.sha256


def default_thickness(spec: Spec) -> float:
    """Return the thickness of the shut dummy from its layers: two pages, and the strips between them, mm."""
    return 2 * spec.base.thickness + STRIP_LAYERS * spec.card.thickness


def see_shut(source: PhotoSource, spec: Spec, setup: Setup, *, shut_mm: float | None = None) -> ShutPhoto:
    """Measure a photo of the shut dummy, lying on the uncut sheet with its spine at the left.

    Raises
    ------
    FoldgaugeError : one line on what is wrong with the photo or the thickness.
    """
    thickness = default_thickness(spec) if shut_mm is None else shut_mm
    plane = closed_plane(source, setup, thickness)
    outline = outline_of(plane, (spec.base.page_left, spec.base.depth))
    return ShutPhoto(
        photo=plane.solved.photo,
        view=plane.solved.view,
        thickness_mm=thickness,
        outline=outline,
        taken=plane.notes,
    )


def overhang_seen(closed: ShutPhoto, measured: Measured, spec: Spec) -> dict[str, tuple[float, float]]:
    """Return what the closed photo shows at each edge, for `compare.verdict.shut_reach.compare_overhang`.

    Shut, both fore edges lie on each other: card beyond them is laid to the side that is predicted to reach
    farther. An edge at which nothing sticks out is told only if something was predicted there.
    """
    largest = closed.outline.largest()
    predicted = {s: -r.clearance.value for s in SIDES if (r := shut(measured, spec, s)) is not None}
    side = max(predicted, key=lambda s: predicted[s]) if predicted else "right"
    out: dict[str, tuple[float, float]] = {}
    fore_edge = next(edge for edge, lies in FORE_EDGES.items() if lies == side)
    beyond = largest.get(Kind.FORE_EDGE)
    if beyond is not None:
        out[fore_edge] = (beyond.amount_mm, beyond.u_mm)
    elif predicted and predicted[side] > SEEN_MM:
        out[fore_edge] = (0.0, NOTHING_U_MM)
    for edge in ("head", "tail"):
        if edge in largest:
            out[edge] = (largest[edge].amount_mm, largest[edge].u_mm)
    return out
