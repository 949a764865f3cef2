"""The level of the feet on a page.

The near edge of a page is long and often sharp, but white on white or blackened by a pen, and gluing tabs lie
on it: its level is what explains best, together, the lower edge of the base, its upper edge, and the tabs
beside each foot.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from capture.arrays import Array, Single
from measure.edges.candidate_lines import crest_shift, line_scores
from measure.edges.stations import stations_for
from measure.geometry import Curve
from measure.guided.page.strip_feet import footing_profiles
from measure.measuring_plane import strip_along
from measure.scene import Scene

STEP_MM = 0.05
SLOPE_MM = 3.4  # the two ends of the rough line are off by amounts that differ by no more
BELOW_MM = (0.25, 1.0)
SLANT_MM = 0.5
PARALLAX_MM = 0.3
"""Near ends of strips and of the page may seem this much apart in height: they are not quite flush."""
PAGE_REACH_MM = 1.8
MARK_REACH_MM = 0.45  # the page's own edge is looked for this far from its mark: four sd of its mounting
BRIGHTER = 1.2  # the base may be of lighter card than the strips, and lie in more light
BRIGHT_COST = 8.0  # per station, of a cut edge that is much too bright
BRIGHT_LOG = 0.25  # natural logarithm of how much too bright that is


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
    n_stations : stations along the page.
    """

    curve: Curve
    foot_up_mm: tuple[float, ...]
    tab_seen: tuple[bool, ...]
    score: float
    margin: float
    n_stations: int


def page_level(
    scene: Scene,
    curve: Curve,
    feet_mm: Sequence[float],
    *,
    up: float,
    strips: Sequence[Curve] = (),
    reach_mm: float = PAGE_REACH_MM,
    realign: bool = True,
) -> PageLevel:
    """Level of the joints on a page: half a card above its upper surface.

    Parameters
    ----------
    curve : rough line of the joints along the page.
    feet_mm : places of the feet along it.
    up : +1 if up is to the left of the curve.
    strips : near ends of the strips standing on the page.
    reach_mm : the true line is within this of the rough one.
    realign : whether to look again along the page if the rough line slants against it; not for a short page,
        on which shadows can outweigh its edge.
    """
    base_mm, card_mm, tone = scene.layout.base_mm, scene.layout.card_mm, scene.tone
    stations = stations_for(curve, 0.5, 0.5, 1.0)
    usable = scene.region.holds(curve.points(stations))
    blur_mm = scene.template(curve).blur_mm
    brightest = _brightest(scene)
    n_wanted = int(reach_mm / STEP_MM)
    wanted = np.linspace(-n_wanted * STEP_MM, n_wanted * STEP_MM, 2 * n_wanted + 1)
    n = int(np.ceil((reach_mm + base_mm + card_mm + 1.5) / STEP_MM))
    # Offsets count UP from the rough line.
    offsets = np.linspace(-n * STEP_MM, n * STEP_MM, 2 * n + 1)
    smear = (stations[1] - stations[0]) * curve.length
    for _ in range(2):
        strip = strip_along(scene.plane, curve, stations, up * offsets, smear, 3)
        edges = scene.edges.steps(strip, STEP_MM, blur_mm) * usable[:, None]
        sums = _edge_sums(edges, offsets, stations, wanted, card_mm / 2, base_mm)
        i, j = np.unravel_index(int(np.argmax(sums)), sums.shape)
        slant = float(wanted[j] - wanted[i])
        if abs(slant) < SLANT_MM or not realign:
            break
        # Tabs are found by what they change along the line: it must run along the page.
        curve = replace(curve, d0=-up * slant / 2, d1=up * slant / 2).straightened()
    if brightest is not None:
        sums = sums - _too_bright(strip[usable], offsets, wanted, card_mm / 2, base_mm, brightest)
    along = stations * curve.length
    profiles = scene.edges.tabs(strip, offsets, along, feet_mm, wanted, card_mm, tone)
    for foot, profile in zip(feet_mm, profiles, strict=True):
        sums = sums + _at_foot(_pooled(profile), foot / curve.length)
    for foot, stop in footing_profiles(scene, curve, strips, wanted, up):
        sums = sums + _at_foot(stop, foot / curve.length)
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
        n_stations=len(stations),
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


def _brightest(scene: Scene) -> float | None:
    """Grey value that a page's cut edge hardly exceeds: that of the strips', or of white card."""
    if scene.white is None:
        return None
    return BRIGHTER * max(scene.tone or 0.0, scene.edges.usual_tone(scene.white))


def _too_bright(
    strip: Single,
    offsets: Array,
    wanted: Array,
    half_card: float,
    base_mm: float,
    brightest: float,
) -> Array:
    """Cost (W, W) of a level at which the page's cut edge would be brighter than cut edges can be.

    A lit strip of the page's upper face before the shadow of the strips looks like a cut edge, but brighter.
    """
    total = np.concatenate([[0.0], np.cumsum(np.median(strip, axis=0))])
    ends = [np.searchsorted(offsets, wanted - half_card - base_mm * share) for share in (0.8, 0.2)]
    band = (total[ends[1]] - total[ends[0]]) / np.maximum(ends[1] - ends[0], 1)
    excess = np.log(np.maximum(band, 1e-6) / brightest)
    cost = BRIGHT_COST * len(strip) * np.clip(excess / BRIGHT_LOG, 0.0, 1.0)
    return _at_foot(cost, 0.5)


def _shifted(score: Array, offsets: Array, wanted: Array) -> Array:
    """Scores (S, W) at wanted offsets, by the nearest column; 0 outside."""
    h = float(offsets[1] - offsets[0])
    k = np.rint((wanted - offsets[0]) / h).astype(int)
    ok = (k >= 0) & (k < len(offsets))
    out = np.zeros((len(score), len(wanted)))
    out[:, ok] = score[:, k[ok]]
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


def _peak(values: Array, grid: Array, k: int) -> float:
    if k in (0, len(values) - 1):
        return float(grid[k])
    move = float(crest_shift(values[k - 1], values[k], values[k + 1]))
    return float(grid[k] + move * (grid[1] - grid[0]))
