"""From the solved fold of the sill to the pages' surfaces and the spine."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import cv2
import numpy as np

from capture.arrays import Array
from capture.camera.known_page import KnownPage, PageSide
from capture.camera.lens_model import N_ALL, FoldedPiece, folded, pose_at
from capture.camera.view import PARAMS
from capture.sight.sill_sight import SillSeen


@dataclass(frozen=True, slots=True, kw_only=True)
class Lying:
    """How paper lies on a page; standard uncertainties in mm, common practice, no source, where not said.

    Attributes
    ----------
    paper_mm : thickness of the paper: its printed face is so much above the page.
    height_sd : how flat a piece lies, common to the piece (0.1-0.2 mm; two coins help).
    end_sd : the same, at each end of the piece by itself.
    bridging_mm, bridging_sd : a piece that is not split at the tick lies on the pages' outer parts and
        bridges the gully: it floated 0.0-0.7 mm above the spine of spreads at 179.3-179.9 degrees.
    tick_sd : tick set on the spine by eye.
    untold_sd : the same where there is no tick, though the middle is where one would set it.
    near_mm, near_sd : where the near ends stand: the sheet touches the foremost, the others stay behind,
        so their common plane lies 0-1.5 mm behind it.
    """

    paper_mm: float = 0.1
    height_sd: float = 0.12
    end_sd: float = 0.08
    bridging_mm: float = 0.15
    bridging_sd: float = 0.2
    tick_sd: float = 0.35
    untold_sd: float = 1.0
    near_mm: float = -0.8
    near_sd: float = 0.7


LYING: Final = Lying()


def page_of_sill(
    params: Array,
    cov: Array,
    seen: Sequence[SillSeen],
    pieces: Sequence[FoldedPiece],
    fold_at: Callable[[int], slice],
    shapes_at: Callable[[Array], Array],
) -> KnownPage | None:
    """Return the page of a sill from the adjustment's unknowns (K,) and their covariance; None without one.

    Parameters
    ----------
    seen, pieces : the pieces that were seen, in the adjustment's order. fold_at : where their unknowns are.
    shapes_at : heights (N, 3) of the sheet at places (N, 2) per mm of each bow.
    """
    if not seen:
        return None
    sides = []
    for k, piece_seen in enumerate(seen):
        whole = piece_seen.part.side == "both"
        names: tuple[Literal["left", "right"], ...] = (
            ("left", "right") if piece_seen.part.side == "both" else (piece_seen.part.side,)
        )
        for name in names:
            sides.append(_side(params, cov, piece_seen, pieces[k], fold_at(k), shapes_at, name, whole=whole))
    spine = np.mean([side.corners_mm[0] for side in sides], axis=0)
    sill = seen[0].sill
    return KnownPage(
        source="sill" if sill.has_tick else "band",
        sides=tuple(sides),
        spine_mm=spine,
        spine_sd_mm=LYING.tick_sd if sill.has_tick else LYING.untold_sd,
        has_tick=sill.has_tick,
        near_z_mm=LYING.near_mm,
        near_sd_mm=LYING.near_sd,
    )


def _side(
    params: Array,
    cov: Array,
    seen: SillSeen,
    piece: FoldedPiece,
    at: slice,
    shapes_at: Callable[[Array], Array],
    side: Literal["left", "right"],
    *,
    whole: bool,
) -> PageSide:
    """Return one page: three points under a piece, their derivatives and what the adjustment leaves over."""
    fold = seen.sill.fold_mm
    outer = seen.part.span_mm[0 if side == "left" else 1]
    # Strictly the fold is where the unknowns have it; these places are on the flat paper, near enough to it.
    xy = np.array([[0.0, fold], [outer, fold], [0.0, fold - seen.sill.depth_mm]])
    behind = shapes_at(np.column_stack([xy[:, 0], np.full(3, fold)]))
    columns = np.concatenate([np.arange(N_ALL), np.arange(at.start, at.stop)])

    def corners(p: Array) -> Array:
        flat = p[columns].copy()
        here = xy * np.exp(flat[11:13])
        slope = flat[N_ALL + 1]
        here[:2, 1] = flat[N_ALL] + slope * here[:2, 0]  # the fold itself, where it came to lie
        on_face = folded(flat, here / np.exp(flat[11:13]), behind, piece)
        normal = np.cross(on_face[1] - on_face[0], on_face[2] - on_face[0])
        normal *= np.sign(normal[1]) / np.linalg.norm(normal)
        down = np.full(3, LYING.paper_mm)
        if whole:
            down[[0, 2]] += LYING.bridging_mm
        out: Array = on_face - down[:, None] * normal
        return out

    jac = np.zeros((9, len(params)))
    for i in columns:
        step = np.zeros(len(params))
        step[i] = 1e-5
        jac[:, i] = ((corners(params + step) - corners(params - step)) / 2e-5).ravel()
    return _page_side(side, corners(params), jac, cov, whole=whole, n_marks=len(seen.px))


def _page_side(
    side: Literal["left", "right"], corners: Array, jac: Array, cov: Array, *, whole: bool, n_marks: int
) -> PageSide:
    """Split what three points' errors (9, K) share with the view from the rest, and add how paper lies."""
    n = len(PARAMS)
    gradient = jac @ cov[:, :n] @ np.linalg.pinv(cov[:n, :n], hermitian=True)
    rest = jac @ cov @ jac.T - gradient @ cov[:n, :n] @ gradient.T
    lying = np.full((3, 3), LYING.height_sd**2) + np.diag(np.full(3, LYING.end_sd**2))
    if whole:
        lying[np.ix_([0, 2], [0, 2])] += LYING.bridging_sd**2
    rest = rest + np.kron(lying, np.diag([0.0, 1.0, 0.0]))
    return PageSide(
        side=side, corners_mm=corners, gradient=gradient, rest_cov=(rest + rest.T) / 2, n_marks=n_marks
    )


def page_of_doorstep(params: Array, cov: Array, seen: Sequence[SillSeen], first_pose: int) -> KnownPage:
    """Return the page and the near ends' place by a doorstep's halves, each a flat target with its own pose.

    Parameters
    ----------
    params, cov : the adjustment's unknowns (K,) and their covariance.
    seen : the halves, whose poses follow one another from `first_pose`.
    """
    sides = [_doorstep_side(params, cov, half, pose_at(first_pose + k)) for k, half in enumerate(seen)]
    gradient = np.mean([side.gradient[2] for side in sides], axis=0)
    rest = float(np.mean([side.rest_cov[2, 2] for side in sides]))
    z = float(np.mean([side.corners_mm[0, 2] for side in sides]))
    return KnownPage(
        source="doorstep",
        sides=tuple(sides),
        spine_mm=np.mean([side.corners_mm[0] for side in sides], axis=0),
        spine_sd_mm=LYING.tick_sd,
        has_tick=True,
        near_z_mm=z + LYING.near_mm,
        near_sd_mm=float(np.hypot(np.sqrt(rest), LYING.near_sd)),
        near_gradient=gradient,
    )


def _doorstep_side(params: Array, cov: Array, seen: SillSeen, at: slice) -> PageSide:
    """Return one page: three points under a half of the doorstep."""
    side: Literal["left", "right"] = "left" if seen.part.side == "left" else "right"
    outer = seen.part.span_mm[0 if side == "left" else 1]
    flat = np.array([[0.0, 0.0], [outer, 0.0], [0.0, -seen.sill.depth_mm]])

    def corners(p: Array) -> Array:
        sheet, _ = cv2.Rodrigues(p[:3])
        strip, _ = cv2.Rodrigues(p[at][:3])
        under = np.column_stack([flat * np.exp(p[11:13]), np.full(3, -LYING.paper_mm)])
        out: Array = (under @ strip.T + p[at][3:] - p[3:6]) @ sheet
        return out

    jac = np.zeros((9, len(params)))
    for i in (*range(6), *range(at.start, at.stop), 11, 12):
        step = np.zeros(len(params))
        step[i] = 1e-5
        jac[:, i] = ((corners(params + step) - corners(params - step)) / 2e-5).ravel()
    return _page_side(side, corners(params), jac, cov, whole=False, n_marks=len(seen.px))
