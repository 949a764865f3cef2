"""`foldgauge measure`: one photo of a dummy, no spec. Traced and measured, not judged."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from capture.advice import Advice, advise
from capture.camera.view import View
from capture.photo import Photo, PhotoSource
from capture.placing import Placing, placings
from capture.setup import Setup
from capture.sight.sighting import Sighting
from capture.solved import solve_photo
from compare.quantities.budgets import source_sizes
from compare.quantities.joint_quantities import Joints
from compare.quantities.quantity import Inputs, Quantity
from compare.vocabulary import Kind, Told, named, told_of
from measure.joints.by_hand import HandPoint
from measure.joints.error_budget import COVERAGE, Budget, budget_of
from measure.layout import Card, Panel, Role
from measure.profile import Profile
from measure.sides import SIDES, opposite
from measure.tracing.measure_untold import Untold, measure_untold
from measure.tracing.trace_dummy import Traced

DEG: Final = float(np.degrees(1.0))
NO_SETUP: Final = Setup()


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One measured figure: name, value, standard uncertainty, unit ("mm" or "deg"), hand-set joints."""

    name: str
    value: float
    u: float
    unit: str
    by_hand: tuple[str, ...] = ()

    @property
    def expanded(self) -> float:
        """Expanded uncertainty U, k = 2."""
        return COVERAGE * self.u


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Tracing:
    """A dummy measured without a spec.

    Attributes
    ----------
    photo, sighting : the photo and the sheet in it.
    placing : how the sheet was used, where the near end stands, and the view of both.
    untold : topology and profile.
    lengths, angles : figures in the order they are told.
    budgets : one per length.
    advice : what would make the photo better.
    """

    photo: Photo
    sighting: Sighting
    placing: Placing
    card: Card
    untold: Untold
    lengths: tuple[Figure, ...]
    angles: tuple[Figure, ...]
    budgets: tuple[Budget, ...]
    advice: tuple[Advice, ...]

    @property
    def view(self) -> View:
        """The photo's view."""
        return self.placing.view

    @property
    def profile(self) -> Profile:
        """The measured profile."""
        return self.untold.profile

    @property
    def traced(self) -> Traced:
        """The topology as traced."""
        return self.untold.traced


def measure(
    source: PhotoSource,
    setup: Setup = NO_SETUP,
    *,
    points: Sequence[HandPoint] = (),
    card: Card | None = None,
) -> Tracing:
    """Measure the dummy in a photo without a design.

    Parameters
    ----------
    source : an end-on photo of the open dummy with the printed marker sheet (path, bytes or array, see
        `capture.photo.read_photo`).
    setup : how it was taken; a backdrop's standoff is needed, nothing else tells it.
    points : joints pointed at by hand in the photo (`measure.joints.by_hand`).
    card : thickness of the card, depth of the strips; None = the usual.

    Raises
    ------
    FoldgaugeError : one line on what is wrong with the photo or the set-up, or that nothing could be traced.
    """
    solved = solve_photo(source, setup)
    placing, *_ = placings(solved)
    view, sighting = placing.view, solved.sighting
    of = card or Card()
    untold = measure_untold(
        solved.photo,
        view,
        sighting.sheet,
        of,
        arch=placing.arch,
        bottom_closed=sighting.bottom_band_seen,
        standoff_mm=placing.standoff_mm,
        standoff_err_mm=placing.standoff_err_mm,
        blur_px=sighting.blur_px,
        hand=points,
    )
    lengths, angles, budgets = figures(untold, source_sizes(placing.standoff_err_mm, of.near_end_sd_mm))
    return Tracing(
        photo=solved.photo,
        sighting=sighting,
        placing=placing,
        card=of,
        untold=untold,
        lengths=lengths,
        angles=angles,
        budgets=budgets,
        advice=advise(view, sighting),
    )


def figures(
    untold: Untold, sizes_mm: dict[str, float]
) -> tuple[tuple[Figure, ...], tuple[Figure, ...], tuple[Budget, ...]]:
    """Lengths and angles of a traced dummy with their uncertainties, and the budgets of the lengths."""
    profile = untold.profile
    inputs = Inputs(profile.cov_mm2, profile.cov_by_source)
    joints = Joints(profile, len(profile.cov_mm2), {})
    lengths: list[Figure] = []
    budgets: list[Budget] = []
    for name, (a, b) in untold.traced.lengths.items():
        if not joints.has(a, b):
            continue
        q = joints.distance(a, b) * _bow_factor(untold, name)
        lengths.append(
            Figure(
                name=name,
                value=q.value,
                u=inputs.u(q),
                unit="mm",
                by_hand=tuple(j for j in (a, b) if j in profile.by_hand),
            )
        )
        budgets.append(budget_of(name, q.value, q.gradient, profile.cov_by_source, sizes_mm=sizes_mm))
    angles = [
        Figure(name=name, value=q.value * DEG, u=inputs.u(q) * DEG, unit="deg")
        for name, q in _angles(untold.traced, joints).items()
    ]
    return tuple(lengths), tuple(angles), tuple(budgets)


def _bow_factor(untold: Untold, name: str) -> float:
    """Return how much longer the card of a bowed strip is than its chord (1 = straight)."""
    extra = float(untold.profile.extra_arc_mm.get(name, 0.0))
    a, b = untold.traced.lengths[name]
    chord = float(np.hypot(*(untold.profile.at(b) - untold.profile.at(a))))
    return 1.0 + extra / chord if np.isfinite(extra) and chord > 0 else 1.0


def _angles(traced: Traced, joints: Joints) -> dict[str, Quantity]:
    """Return opening, angles of fold and legs to their pages, lean of the plane's halves, radians."""
    page: dict[str, Quantity] = {}
    if not traced.named:
        return _numbered_angles(traced, joints)
    for side in SIDES:
        panel = page_panel(traced, side)
        foot = named(Kind.INNER_FOOT, side)
        inner = panel.joints.index(foot)
        seen = [j for j in panel.joints[inner:-1] if joints.has(j)]
        if len(seen) > 1:
            page[side] = joints.direction(seen[0], seen[-1])
        elif joints.has(Kind.SPINE, foot):
            page[side] = joints.direction(Kind.SPINE, foot)
    if not traced.spine_seen and len(page) == 1:
        (side, along), *_ = page.items()
        page[opposite(side)] = _wrapped(along + np.pi)
    out: dict[str, Quantity] = {}
    if traced.spine_seen and len(page) == 2:
        out["opening"] = _wrapped(page["left"] - page["right"])
    for side, along in sorted(page.items()):
        turn = 1.0 if side == "right" else -1.0
        for panel in traced.layout.panels:
            first, last = panel.joints[0], panel.joints[-1]
            if panel.side != side or panel.role is Role.PAGE:
                continue
            if panel.role is Role.PLANE:
                tops = [j for j in panel.joints[1:-1] if joints.has(j)]
                if tops and joints.has("ridge"):
                    lean = _wrapped(turn * (joints.direction("ridge", tops[-1]) - along))
                    out[told_of(Told.LEAN, side)] = lean
            elif joints.has(first, last):
                out[panel.name] = _wrapped(turn * (joints.direction(first, last) - along))
    return out


def _numbered_angles(traced: Traced, joints: Joints) -> dict[str, Quantity]:
    """Return angles of numbered panels to the page, counter-clockwise, radians."""
    feet = [j for j in joints_on_page(traced) if joints.has(j)]
    if len(feet) < 2:
        return {}
    along = joints.direction(feet[0], feet[-1])
    return {
        p.name: _wrapped(joints.direction(p.joints[0], p.joints[-1]) - along)
        for p in traced.layout.panels
        if p.role is not Role.PAGE and joints.has(p.joints[0], p.joints[-1])
    }


def page_panel(traced: Traced, side: str) -> Panel:
    """Return the page on a side."""
    return next(p for p in traced.layout.panels if p.role is Role.PAGE and p.side == side)


def joints_on_page(traced: Traced) -> list[str]:
    """Return the feet on the pages, from left to right."""
    left, right = (page_panel(traced, side) for side in SIDES)
    return [*reversed(left.joints[1:-1]), *right.joints[1:-1]]


def _wrapped(q: Quantity) -> Quantity:
    return Quantity(float(np.arctan2(np.sin(q.value), np.cos(q.value))), q.gradient)
