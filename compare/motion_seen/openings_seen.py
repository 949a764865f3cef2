"""What photos at several openings show of the movement, beside one fit of all lengths and beside the design.

The lengths are those of all photos together (`compare.jobs.several_photos`); put into the linkage at the
opening of each photo they say how the plane should lean there. How far each photo is from that is its
residual: it shows whether one dummy with such lengths explains all photos.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from capture.arrays import Array
from compare.cause.linkage_lean import governing_lengths, lean_rates, seen_lean
from compare.design.spec.spec import Spec
from compare.quantities.joint_quantities import FEET
from compare.quantities.measured import Measured

LEAST_SHARE = 0.3
"""A length's residual is known no better than this share of the photo's own uncertainty: the fit holds part
of the same photo's error."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class AtOpening:
    """Photos at one opening, and what they measured together, before the others are taken in."""

    photos: tuple[str, ...]
    measured: Measured


@dataclass(frozen=True, slots=True, kw_only=True)
class LeanSeen:
    """Lean of one half at one opening, degrees; + = outer edge too high.

    Attributes
    ----------
    half : which.
    seen_deg, seen_u_deg : in the photo, and its standard uncertainty.
    fitted_deg, fitted_u_deg : as the lengths of all photos make it; nan where the linkage cannot be there.
    design_deg : as designed.
    """

    half: str
    seen_deg: float
    seen_u_deg: float
    fitted_deg: float
    fitted_u_deg: float
    design_deg: float

    @property
    def rest_deg(self) -> float:
        """What the lengths of all photos do not explain."""
        return self.seen_deg - self.fitted_deg

    @property
    def rest_u_deg(self) -> float:
        """Standard uncertainty of that; seen and fitted are taken to be independent, which is cautious."""
        return float(np.hypot(self.seen_u_deg, self.fitted_u_deg))

    @property
    def off_deg(self) -> float:
        """Seen against the design."""
        return self.seen_deg - self.design_deg


@dataclass(frozen=True, slots=True, kw_only=True)
class LengthRest:
    """A length as the photos at one opening have it against that of all photos, mm."""

    name: str
    rest_mm: float
    u_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OpeningSeen:
    """One opening: its photos, how far it is open (degrees), the leans, and the lengths' residuals."""

    photos: tuple[str, ...]
    opening_deg: float
    leans: tuple[LeanSeen, ...]
    lengths: tuple[LengthRest, ...]

    @property
    def worst(self) -> LengthRest | None:
        """The length whose residual is largest for its uncertainty."""
        return max(self.lengths, key=lambda r: abs(r.rest_mm) / r.u_mm, default=None)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class LeanCurve:
    """Lean of one half over the openings (n,), degrees: of the fitted lengths and of the design."""

    half: str
    openings_deg: Array
    fitted_deg: Array
    design_deg: Array


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class MotionSeen:
    """The movement as photographed: openings from wide to narrow, and the curves they lie on."""

    openings: tuple[OpeningSeen, ...]
    curves: tuple[LeanCurve, ...]


def motion_seen(groups: Sequence[AtOpening], together: Measured, spec: Spec) -> MotionSeen | None:
    """Set photos at several openings beside the lengths of all of them; None for fewer than two openings.

    Parameters
    ----------
    groups : photos by opening. together : what all of them say together.
    """
    if len(groups) < 2:
        return None
    seen = sorted((_at(g, together, spec) for g in groups), key=lambda o: -o.opening_deg)
    narrowest = seen[-1].opening_deg
    grid = np.linspace(seen[0].opening_deg, max(narrowest - 20.0, 5.0), 61)
    halves = list(dict.fromkeys(n.half for o in seen for n in o.leans))
    curves = tuple(_curve(half, grid, together, spec) for half in halves)
    return MotionSeen(openings=tuple(seen), curves=curves)


def _values(together: Measured, spec: Spec, half: str) -> dict[str, float] | None:
    names = governing_lengths(spec.mechanism, half)
    if any(k not in together.working for k in names):
        return None
    return {k: together.working[k].value for k in names}


def _at(group: AtOpening, together: Measured, spec: Spec) -> OpeningSeen:
    opening = group.measured.opening
    phi, u_phi = min(opening.value, np.pi), group.measured.u(opening)
    leans = []
    for half in (h.name for h in spec.mechanism.halves):
        if half not in group.measured.lean:
            continue
        q = group.measured.lean[half]
        design = seen_lean(spec.mechanism, spec.mechanism.solve({}, phi), half)
        fitted, u = _fitted(together, spec, half, phi, u_phi)
        leans.append(
            LeanSeen(
                half=half,
                seen_deg=float(np.degrees(q.value)),
                seen_u_deg=float(np.degrees(group.measured.u(q))),
                fitted_deg=fitted,
                fitted_u_deg=u,
                design_deg=float(np.degrees(design)),
            )
        )
    rests = []
    for name, q in group.measured.lengths.items():
        # how far apart the feet stand is no length of card: it changes with the opening
        if name in together.lengths and name != FEET:
            u_here, u_all = group.measured.u(q), together.u(together.lengths[name])
            u_rest = float(np.sqrt(max(u_here**2 - u_all**2, (LEAST_SHARE * u_here) ** 2)))
            rests.append(LengthRest(name=name, rest_mm=q.value - together.lengths[name].value, u_mm=u_rest))
    return OpeningSeen(
        photos=group.photos,
        opening_deg=float(np.degrees(opening.value)),
        leans=tuple(leans),
        lengths=tuple(rests),
    )


def _fitted(together: Measured, spec: Spec, half: str, phi: float, u_phi: float) -> tuple[float, float]:
    """Lean that the lengths of all photos make at an opening, and its standard uncertainty, degrees."""
    values = _values(together, spec, half)
    if values is None:
        return float("nan"), float("nan")
    lean = float(seen_lean(spec.mechanism, spec.mechanism.solve(values, phi), half))
    if not np.isfinite(lean):
        return float("nan"), float("nan")
    rates = lean_rates(spec.mechanism, values, phi, half)
    names = list(values)
    g = np.array([rates[k] for k in names])
    var = float(g @ together.inputs.covariance([together.working[k] for k in names]) @ g)
    return float(np.degrees(lean)), float(np.degrees(np.hypot(np.sqrt(var), rates["opening"] * u_phi)))


def _curve(half: str, openings_deg: Array, together: Measured, spec: Spec) -> LeanCurve:
    phi = np.radians(np.minimum(openings_deg, 180.0))
    values = _values(together, spec, half)
    design = seen_lean(spec.mechanism, spec.mechanism.solve({}, phi), half)
    fitted = (
        np.full(phi.shape, np.nan)
        if values is None
        else seen_lean(spec.mechanism, spec.mechanism.solve(values, phi), half)
    )
    return LeanCurve(
        half=half,
        openings_deg=openings_deg,
        fitted_deg=np.degrees(np.broadcast_to(fitted, phi.shape)),
        design_deg=np.degrees(np.broadcast_to(design, phi.shape)),
    )
