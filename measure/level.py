"""Two levels that need more than a stripe: the plane with its layers, and the page the feet stand on.

Under the plane lie one or two layers of card, and the joints lie in the LOWEST. The near edge of a page is
long and often sharp, but white on white or blackened by a pen, and gluing tabs lie on it: its level is what
explains best, together, the lower edge of the base, its upper edge, and the stripes of the tabs beside each
foot.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, maximum_filter1d
from scipy.special import ndtr

from measure.candidates import line_scores
from measure.evidence import Template, softened
from measure.refine import STATION_MM, stations_for
from measure.strip import Curve, Plane, strip_along

Array = NDArray[np.float64]

TAB_MM = (0.8, 9.0)
"""A gluing tab shows beside its foot from here to there (common practice, no source)."""

STEP_MM = 0.05
LAYER_SHARE = 0.2
"""The step of a further layer is at least this share of the plane's own steps."""
LAYER_NOISE = 0.002
LIKE_EDGE = 0.25  # natural logarithm: greys nearer than this may both be cut edges
LAYER_TONE = (-0.5, 0.25)  # natural logarithm: how much darker or brighter a lower layer's cut edge may be
SLOPE_MM = 2.4  # the two ends of the rough line are off by amounts that differ by no more
BELOW_MM = (0.25, 1.0)
SLANT_MM = 0.5
N_BARE = 16
TAB_CAP = 400.0
"""One foot counts at most like this (as much as some thirty stations of clear page edge)."""
PARALLAX_MM = 0.3
"""Near ends of strips and of the page may seem this much apart in height: they are not quite flush."""
PAGE_REACH_MM = 1.8
EDGE_CAP = 12.0
EDGE_STEP = 0.015  # a step of this height, full scale = 1, is one standard deviation
"""A clear edge is a clear edge: a pen line must not outvote the base's own edge by its contrast."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JointsUnder:
    """Where a plane's joints lie: offset UP from the fitted line, its standard uncertainty, what was seen."""

    up_mm: float
    err_mm: float
    seen: str


def joints_under_plane(
    plane: Plane,
    line: Curve,
    template: Template,
    *,
    up: float,
    spacing_mm: float,
) -> JointsUnder:
    """Find the level of the joints under the plane from the layers that are seen there.

    A strip may run under the plane from ridge to leg, or tabs may be glued under it beside the joints; either
    way the joints lie in the middle of that lower layer. So: half a card above the lowest edge where two
    layers lie together, half a card below the plane's lower face where a tab is seen beside a joint, and at
    the lower face itself where there is one layer and no tab.

    Parameters
    ----------
    line : fitted line of the plane's near end, from the ridge outward.
    template : the stripe of one card.
    up : +1 if up is to the left of the line.
    spacing_mm : distance from ridge to leg along it.
    """
    t = template.card_mm
    middle = (2.0, spacing_mm - 2.0) if spacing_mm < 30 else (10.0, spacing_mm - 10.0)
    steps = _steps(plane, line, template, up, middle)
    lowest = _lowest(steps)
    if lowest is None:
        return JointsUnder(up_mm=0.0, err_mm=t / 2, seen="no clear edge")
    edge = float(PLACES[lowest]) * t
    beside = [(1.0, 7.0), (spacing_mm - 7.0, spacing_mm - 1.0), (spacing_mm + 1.0, spacing_mm + 6.0)]
    if lowest > 0:
        for stretch in beside:
            if stretch[1] > line.length - 0.5:
                continue
            at_joint = _lowest(_steps(plane, line, template, up, stretch))
            if at_joint is not None and at_joint < lowest:
                return JointsUnder(up_mm=edge - t / 2, err_mm=0.1 * t, seen="tabs under the plane")
    own = abs(steps.height[lowest])

    def clear(k: int) -> bool:
        return k < len(PLACES) and abs(steps.height[k]) > max(LAYER_SHARE * own, 4 * steps.err[k])

    if clear(lowest + 1) and not clear(lowest + 2):
        return JointsUnder(up_mm=edge, err_mm=0.3 * t, seen="one layer")
    return JointsUnder(up_mm=edge + t / 2, err_mm=0.15 * t, seen="strip under the plane")


PLACES = np.array([-2.5, -1.5, -0.5, 0.5, 1.5])
"""Where edges of layers may lie, in thicknesses up from the fitted line."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Steps:
    """Steps at `PLACES`: heights, standard uncertainties, and the mean grey value just above each."""

    height: Array
    err: Array
    above: Array


def _steps(
    plane: Plane, curve: Curve, template: Template, up: float, stretch_mm: tuple[float, float]
) -> _Steps:
    """Fit the steps at `PLACES` together.

    The mean profile of a stretch is explained by a smooth background and steps one thickness apart.
    """
    s = stations_for(curve, stretch_mm[0], curve.length - stretch_mm[1])
    n = int(np.ceil((3 * template.card_mm + 0.6) / STEP_MM))
    x = np.linspace(-n * STEP_MM, n * STEP_MM, 2 * n + 1)  # up is +
    profile = strip_along(plane, curve, s, up * x, STATION_MM, 3).astype(np.float64).mean(axis=0)
    best: tuple[float, Array, Array] | None = None
    for blur in template.blur_mm * np.array([1.0, 1.4, 2.0]):
        for move in (-0.06, -0.03, 0.0, 0.03, 0.06):
            steps = ndtr((x[:, None] - move - PLACES[None, :] * template.card_mm) / blur)
            basis = np.column_stack([np.ones_like(x), x, x**2, steps])
            coef, _, _, _ = np.linalg.lstsq(basis, profile, rcond=None)
            misfit = float(np.sum((profile - basis @ coef) ** 2))
            if best is None or misfit < best[0]:
                spread = np.diag(np.linalg.pinv(basis.T @ basis))[3:]
                variance = max(misfit / (len(x) - basis.shape[1]), LAYER_NOISE**2)
                best = (misfit, coef[3:], np.sqrt(spread * variance))
    assert best is not None
    centres = (PLACES + 0.5) * template.card_mm
    near = np.abs(x[None, :] - centres[:, None]) <= max(0.25 * template.card_mm, STEP_MM)
    above = np.array([profile[row].mean() for row in near])
    return _Steps(height=best[1], err=best[2], above=above)


def _lowest(steps: _Steps) -> int | None:
    """Index of the lowest step that stands out, going down from the fitted layer through cut edges only.

    What lies below the plane may be bright and striped too; another layer of card continues the fitted one
    without a gap and in nearly the same grey.
    """
    height = np.abs(steps.height)
    clear = (height > LAYER_SHARE * np.max(height)) & (height > 4 * steps.err)
    grey = np.maximum(steps.above, 0) + 0.005
    fitted = int(np.flatnonzero(PLACES == -0.5)[0])
    found = fitted if clear[fitted] else None
    for k in range(fitted - 1, -1, -1):
        if not LAYER_TONE[0] < np.log(grey[k] / grey[fitted]) < LAYER_TONE[1]:
            break
        if clear[k]:
            found = k
    if found is None and clear[fitted + 1]:
        found = fitted + 1
    return found


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PageLevel:
    """The line on which the feet of a page (or of two pages lying flat) stand.

    Attributes
    ----------
    curve : the line; half a card above the page's upper surface.
    foot_up_mm : for every foot, how much higher its own gluing tab was seen than the line (0 if not seen).
        A strip that does not end flush with the page is displaced by parallax, its tab with it.
    tab_seen : for every foot, whether its tab was seen.
    score, margin : mean evidence per station, and by how much the next best level was worse.
    """

    curve: Curve
    foot_up_mm: tuple[float, ...]
    tab_seen: tuple[bool, ...]
    score: float
    margin: float


def page_level(
    plane: Plane,
    curve: Curve,
    feet_mm: Sequence[float],
    *,
    base_mm: float,
    card_mm: float,
    blur_mm: float,
    up: float,
    usable: NDArray[np.bool_],
    stations: Array,
    tone: float | None = None,
    reach_mm: float = PAGE_REACH_MM,
    realign: bool = True,
) -> PageLevel:
    """Level of the joints on a page: half a card above its upper surface.

    Parameters
    ----------
    curve : rough line of the joints along the page.
    feet_mm : places of the feet along it.
    base_mm, card_mm, blur_mm : thickness of the page and of the strips; blur of the photo.
    up : +1 if up is to the left of the curve.
    usable, stations : (S,) stations in 0..1, and whether the page can be seen there.
    tone : grey value of the card's cut edge, if known.
    reach_mm : the true line is within this of the rough one.
    realign : whether to look again along the page if the rough line slants against it; not for a short page,
        on which shadows can outweigh its edge.
    """
    n_wanted = int(reach_mm / STEP_MM)
    wanted = np.linspace(-n_wanted * STEP_MM, n_wanted * STEP_MM, 2 * n_wanted + 1)
    n = int(np.ceil((reach_mm + base_mm + card_mm + 1.5) / STEP_MM))
    # Offsets count UP from the rough line.
    offsets = np.linspace(-n * STEP_MM, n * STEP_MM, 2 * n + 1)
    smear = (stations[1] - stations[0]) * curve.length
    for _ in range(2):
        strip = strip_along(plane, curve, stations, up * offsets, smear, 3)
        edges = _edges(strip, blur_mm) * usable[:, None]
        sums = _edge_sums(edges, offsets, stations, wanted, card_mm / 2, base_mm)
        i, j = np.unravel_index(int(np.argmax(sums)), sums.shape)
        slant = float(wanted[j] - wanted[i])
        if abs(slant) < SLANT_MM or not realign:
            break
        # Tabs are found by what they change along the line: it must run along the page.
        curve = replace(curve, d0=-up * slant / 2, d1=up * slant / 2).straightened()
    profiles = _tab_profiles(strip, offsets, stations * curve.length, feet_mm, wanted, card_mm, tone)
    for foot, profile in zip(feet_mm, profiles, strict=True):
        sums = sums + _at_foot(_pooled(profile), foot / curve.length)
    i, j = np.unravel_index(int(np.argmax(sums)), sums.shape)
    d0, d1 = _peak(sums[:, j], wanted, int(i)), _peak(sums[i, :], wanted, int(j))
    far = np.hypot(wanted[:, None] - wanted[i], wanted[None, :] - wanted[j]) > 0.25
    next_best = float(np.max(np.where(far, sums, -np.inf)))
    ups, seen = [], []
    for foot, profile in zip(feet_mm, profiles, strict=True):
        s = foot / curve.length
        shift, found = _own_level(profile, wanted, d0 * (1 - s) + d1 * s)
        ups.append(shift)
        seen.append(found)
    return PageLevel(
        curve=replace(curve, d0=up * d0, d1=up * d1).straightened(),
        foot_up_mm=tuple(ups),
        tab_seen=tuple(seen),
        score=float(sums[i, j]) / len(stations),
        margin=(float(sums[i, j]) - next_best) / len(stations),
    )


def _edge_sums(
    edges: Array, offsets: Array, stations: Array, wanted: Array, half_card: float, base_mm: float
) -> Array:
    """Evidence (W, W) of the base's edges for a line of joints with end offsets d0 (rows) and d1 (columns).

    The base's lower edge counts in full, its upper edge in part (it may not show), and any straight edge
    along the line a little below the lower edge counts against: the base's edge is the lowest there is.
    """
    n = (len(wanted) - 1) // 2
    extra = int(np.ceil((half_card + base_mm + BELOW_MM[1]) / STEP_MM)) + 1
    reach = (n + extra) * STEP_MM
    grid = np.linspace(-reach, reach, 2 * (n + extra) + 1)
    along = line_scores(_shifted(edges, offsets, grid), grid, stations, reach, SLOPE_MM)
    # What a line of any direction collects from the table's grain is not evidence.
    along = np.maximum(along - np.median(along[along > 0]), 0.0)

    def at(down_mm: float) -> Array:
        k = extra - int(round(down_mm / STEP_MM))
        out: Array = along[k : k + 2 * n + 1, k : k + 2 * n + 1]
        return out

    lower = half_card + base_mm
    below = np.max([at(lower + d) for d in np.arange(*BELOW_MM, STEP_MM)], axis=0)
    out: Array = at(lower) + 0.4 * at(half_card) - below
    return out


def _tab_profiles(
    strip: NDArray[np.float32],
    offsets: Array,
    along: Array,
    feet_mm: Sequence[float],
    wanted: Array,
    card_mm: float,
    tone: float | None,
) -> list[Array]:
    """Evidence (W,) for a foot's tab at every level: the better side of the foot counts.

    A tab shows by what it changes, compared with the bare page; how much the bare page itself varies is the
    noise.
    """
    feet = np.asarray(feet_mm)
    clearance = np.min(np.abs(along[:, None] - feet[None, :]), axis=1) if len(feet) else along * 0 + 99
    bare = clearance > TAB_MM[1] + 3.0
    if bare.sum() < 8:
        return [np.zeros(len(wanted)) for _ in feet]
    around = np.median(strip[bare], axis=0)
    noise = np.maximum(1.4826 * np.median(np.abs(strip[bare] - around), axis=0), 0.006)
    places = np.flatnonzero(bare)
    out = []
    for foot in feet:
        away = along - foot
        # The bare page nearest to the foot: farther off the line may run a little higher or lower.
        nearest = places[np.argsort(np.abs(away[places]))[:N_BARE]]
        changed = (strip - np.median(strip[nearest], axis=0)) / noise
        best = np.zeros(len(wanted))
        for side in ((away > -TAB_MM[1]) & (away < -TAB_MM[0]), (away > TAB_MM[0]) & (away < TAB_MM[1])):
            if side.any():
                # Neighbouring stations see the same grain: count a third of them as independent.
                z = changed[side].mean(axis=0) * np.sqrt(side.sum() / 3)
                grey = strip[side].astype(np.float64).mean(axis=0)
                best = np.maximum(best, _tab_significance(z, grey, offsets, wanted, card_mm, tone))
        out.append(np.minimum(8.0 * softened(0.5 * best**2), TAB_CAP))
    return out


def _tab_significance(
    z: Array, grey: Array, offsets: Array, level: Array, card_mm: float, tone: float | None
) -> Array:
    """How clearly (in standard deviations) a tab lies at each level, from what its side changed.

    A tab may show in four ways: brighter than a pen line it covers; as a stripe in the grey of cut edges on a
    page that is brighter; by its shadow on the page's cut edge, right below it; or, a dark tab on a white
    page, darker from its lower edge up.

    Parameters
    ----------
    z, grey : (D,) change against the bare page in standard deviations, and grey values, at offsets (D,).
    level : (W,) levels of the tab's middle.
    """
    half = card_mm / 2
    low = level - half
    above, below = _mean(z, offsets, low, low + half), _mean(z, offsets, low - half, low)
    ways = [np.minimum(above - below, above)]
    if tone is not None:
        own = _mean(z, offsets, low, low + card_mm)
        flanks = np.minimum(below, _mean(z, offsets, low + card_mm, low + card_mm + half))
        like_edge = np.abs(_log_ratio(_mean(grey, offsets, low, low + card_mm), tone)) < LIKE_EDGE
        ways.append(np.where(like_edge, np.minimum(flanks - own, -own), 0.0))
        shadow = _log_ratio(_mean(grey, offsets, low - half, low), tone) < -LIKE_EDGE
        calm = np.abs(above) < 0.5 * np.abs(below)
        ways.append(np.where(shadow & calm, np.minimum(above - below, -below), 0.0))
        if tone < 0.6 * float(np.median(grey[offsets > 0])):
            ways.append(np.minimum(below - above, -above))
    out: Array = np.maximum(np.max(ways, axis=0), 0.0)
    return out


def _log_ratio(grey: Array, tone: float) -> Array:
    out: Array = np.log((np.maximum(grey, 0) + 0.005) / (tone + 0.005))
    return out


def _mean(values: Array, offsets: Array, low: Array, high: Array) -> Array:
    """Means (W,) of values given at equally spaced offsets, between low and high (W,)."""
    total = np.concatenate([[0.0], np.cumsum(values)])
    h = float(offsets[1] - offsets[0])
    a = np.clip(np.rint((low - offsets[0]) / h).astype(int), 0, len(values) - 1)
    b = np.clip(np.rint((high - offsets[0]) / h).astype(int), 1, len(values))
    out: Array = (total[b] - total[a]) / np.maximum(b - a, 1)
    return out


def _edges(strip: NDArray[np.float32], blur_mm: float) -> Array:
    """Evidence (S, D) for an edge at every offset of a straightened strip: crests of the slope across.

    The slope at the scale of the blur is turned into the height of a step that would cause it; crests only,
    because next to a strong edge everything is steep.
    """
    sigma = max(0.5 * blur_mm, 0.05) / STEP_MM
    slope = gaussian_filter1d(strip.astype(np.float64), sigma, axis=1, order=1)
    height = np.abs(slope) * np.hypot(sigma, blur_mm / STEP_MM) * np.sqrt(2 * np.pi)
    crest = height >= maximum_filter1d(height, 2 * int(round(0.15 / STEP_MM)) + 1, axis=1) - 1e-12
    llr = np.where(crest, 0.5 * (height / EDGE_STEP) ** 2, 0.0)
    out: Array = np.minimum(maximum_filter1d(llr, 3, axis=1), EDGE_CAP)
    return out


def _pooled(profile: Array) -> Array:
    """Best value within the parallax that uneven near ends cause, a smaller one being preferred."""
    k = int(round(PARALLAX_MM / STEP_MM))
    padded = np.pad(profile, k, constant_values=0.0)
    shifts = np.arange(-k, k + 1)
    rows = [padded[k + d : k + d + len(profile)] * (1 - 0.3 * (d / k) ** 2) for d in shifts]
    out: Array = np.max(rows, axis=0)
    return out


def _at_foot(profile: Array, s: float) -> Array:
    """Values (W, W) of a profile for a line with end offsets d0 (rows) and d1 (columns), at station s."""
    n = len(profile)
    k = np.arange(n)
    index = np.rint(k[:, None] * (1 - s) + k[None, :] * s).astype(int)
    out: Array = profile[np.clip(index, 0, n - 1)]
    return out


def _own_level(profile: Array, wanted: Array, level: float) -> tuple[float, bool]:
    near = np.flatnonzero(np.abs(wanted - level) <= PARALLAX_MM + 0.05)
    if len(near) < 3:
        return 0.0, False
    k = int(near[np.argmax(profile[near])])
    # A handful of stations with a clear stripe.
    if profile[k] < 100.0 or k in (near[0], near[-1]):
        return 0.0, False
    return _peak(profile, wanted, k) - level, True


def _shifted(score: Array, offsets: Array, wanted: Array) -> Array:
    """Scores (S, W) at wanted offsets, by the nearest column; 0 outside."""
    h = float(offsets[1] - offsets[0])
    k = np.rint((wanted - offsets[0]) / h).astype(int)
    ok = (k >= 0) & (k < len(offsets))
    out = np.zeros((len(score), len(wanted)))
    out[:, ok] = score[:, k[ok]]
    return out


def _peak(values: Array, grid: Array, k: int) -> float:
    if k in (0, len(values) - 1):
        return float(grid[k])
    bend = values[k - 1] - 2 * values[k] + values[k + 1]
    move = 0.5 * (values[k - 1] - values[k + 1]) / bend if bend < 0 else 0.0
    return float(grid[k] + move * (grid[1] - grid[0]))
