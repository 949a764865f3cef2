"""What of a photo is looked at: the part that shows the region, in linear light, and the sheet's white."""

from dataclasses import replace

import numpy as np

from capture.camera.rectify import linear_grey, srgb_to_linear
from capture.camera.view import PARAMS, View
from capture.photo import Photo
from capture.sheet.marker_sheet import MarkerSheet
from measure.edges.sheet_print import SheetPrint
from measure.edges.straightened import Plane
from measure.guided.placement import Region

AROUND_MM = 14.0  # a panel's surroundings reach beyond the region
TAG_RIM = 1.12  # places just outside a tag, in its white square
MIN_RIMS = 24


def plane_of(
    photo: Photo, view: View, z_mm: float, region: Region, behind: SheetPrint | None = None
) -> Plane:
    """Return the measuring plane with the part of the photo that shows the region, and some more around it.

    The view in it counts pixels from that part's corner: its principal point is moved. `behind` is the
    sheet, if it stands behind the dummy.
    """
    corners = np.array([(x, y) for x in (region.left, region.right) for y in (region.bottom, region.top)])
    low, high = corners.min(axis=0) - AROUND_MM, corners.max(axis=0) + AROUND_MM
    # Along the rim, for a lens may bow it outward.
    s = np.linspace(0, 1, 9)[:, None]
    rim = np.array([low, (high[0], low[1]), high, (low[0], high[1]), low])
    xy = np.concatenate([a + s * (b - a) for a, b in zip(rim[:-1], rim[1:], strict=True)])
    px = view.project(np.column_stack([xy, np.full(len(xy), z_mm)]))
    x0, y0 = np.clip(np.floor(px.min(axis=0)).astype(int), 0, np.array(photo.size) - 1)
    x1, y1 = np.clip(np.ceil(px.max(axis=0)).astype(int) + 1, (x0 + 1, y0 + 1), photo.size)
    params = view.params.copy()
    params[[PARAMS.index("cx"), PARAMS.index("cy")]] -= (x0, y0)
    return Plane(
        grey=linear_grey(photo, (int(x0), int(y0), int(x1), int(y1))),
        view=replace(view, params=params),
        z_mm=z_mm,
        eye_mm=view.eye_mm(),
        behind=behind,
    )


def paper_white(photo: Photo, view: View, sheet: MarkerSheet) -> float | None:
    """Grey value of the sheet's white paper, from the rims of its tags; None if too few are seen."""
    corners = np.array(list(sheet.tags.values()))
    middle = corners.mean(axis=1, keepdims=True)
    rim = (middle + TAG_RIM * (corners - middle)).reshape(-1, 2)
    at = np.rint(view.project(np.column_stack([rim, np.zeros(len(rim))]))).astype(int)
    inside = np.all((at >= 0) & (at < photo.size), axis=1)
    lit = srgb_to_linear()[photo.grey[at[inside, 1], at[inside, 0]]]
    # Rims that the dummy hides, or that are cut away, are fewer than those that are seen.
    return float(np.percentile(lit, 60)) if len(lit) >= MIN_RIMS else None
