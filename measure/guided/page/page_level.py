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


@dataclass(frozen=True, slots=True, kw_only=True)
class PageLevelNumbers:
    """Tuned numbers, found on path-traced photographs of known dummies, on tables of all kinds."""

    step_mm: float = 0.05
    """Levels are sought in steps of this."""
    trim_mm: float = 0.5
    """So much of a page's two ends is left out, ..."""
    station_mm: float = 1.0
    """... and stations lie so far apart."""
    around_mm: float = 1.5
    """The strip looked at reaches so far beyond the levels sought."""
    slope_mm: float = 3.4
    """The two ends of the rough line are off by amounts that differ by no more."""
    slant_mm: float = 0.5
    """A rough line that slants by more against the page is turned and looked along again."""
    upper_share: float = 0.4
    """What the base's upper edge counts against its lower: it may not show."""
    below_mm: tuple[float, float] = (0.25, 1.0)
    """A straight edge so far below the lower edge counts against it: the base's edge is the lowest there
    is."""
    parallax_mm: float = 0.3
    """Near ends of strips and of the page may seem this much apart in height: they are not quite flush;
    ..."""
    parallax_share: float = 0.3
    """... a tab so far off loses that share of its evidence."""
    reach_mm: float = 1.8
    """The page is looked for so far from the rough line, ..."""
    mark_reach_mm: float = 0.45
    """... and from a mark, four standard deviations of its mounting."""
    brighter: float = 1.2
    """The base may be of lighter card than the strips, and lie in more light: times their tone, or white
    card's."""
    bright_cost: float = 8.0
    """Cost per station of a cut edge that is much brighter still: ..."""
    bright_log: float = 0.25
    """... by this (natural logarithm)."""
    edge_span: tuple[float, float] = (0.8, 0.2)
    """Its tone is taken between these shares of the base's thickness below its upper face."""
    rival_mm: float = 0.25
    """A level farther off is another level."""
    own_slack_mm: float = 0.05
    """A tab's own level is looked for so much beyond the parallax, ..."""
    own_least: float = 100.0
    """... and believed from so much evidence on: a handful of stations with a clear stripe."""


TUNED = PageLevelNumbers()


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
    reach_mm: float = TUNED.reach_mm,
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
    stations = stations_for(curve, TUNED.trim_mm, TUNED.trim_mm, TUNED.station_mm)
    usable = scene.region.holds(curve.points(stations))
    blur_mm = scene.template(curve).blur_mm
    brightest = _brightest(scene)
    n_wanted = int(reach_mm / TUNED.step_mm)
    wanted = np.linspace(-n_wanted * TUNED.step_mm, n_wanted * TUNED.step_mm, 2 * n_wanted + 1)
    n = int(np.ceil((reach_mm + base_mm + card_mm + TUNED.around_mm) / TUNED.step_mm))
    # Offsets count UP from the rough line.
    offsets = np.linspace(-n * TUNED.step_mm, n * TUNED.step_mm, 2 * n + 1)
    smear = (stations[1] - stations[0]) * curve.length
    for _ in range(2):
        strip = strip_along(scene.plane, curve, stations, up * offsets, smear, 3)
        edges = scene.edges.steps(strip, TUNED.step_mm, blur_mm) * usable[:, None]
        sums = _edge_sums(edges, offsets, stations, wanted, card_mm / 2, base_mm)
        i, j = np.unravel_index(int(np.argmax(sums)), sums.shape)
        slant = float(wanted[j] - wanted[i])
        if abs(slant) < TUNED.slant_mm or not realign:
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
    far = np.hypot(wanted[:, None] - wanted[i], wanted[None, :] - wanted[j]) > TUNED.rival_mm
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
    extra = int(np.ceil((half_card + base_mm + TUNED.below_mm[1]) / TUNED.step_mm)) + 1
    reach = (n + extra) * TUNED.step_mm
    grid = np.linspace(-reach, reach, 2 * (n + extra) + 1)
    along = line_scores(_shifted(edges, offsets, grid), grid, stations, reach, TUNED.slope_mm)
    # What a line of any direction collects from the table's grain is not evidence.
    along = np.maximum(along - np.median(along[along > 0]), 0.0)

    def at(down_mm: float) -> Array:
        k = extra - int(round(down_mm / TUNED.step_mm))
        out: Array = along[k : k + 2 * n + 1, k : k + 2 * n + 1]
        return out

    lower = half_card + base_mm
    below = np.max([at(lower + d) for d in np.arange(*TUNED.below_mm, TUNED.step_mm)], axis=0)
    out: Array = at(lower) + TUNED.upper_share * at(half_card) - below
    return out


def _brightest(scene: Scene) -> float | None:
    """Grey value that a page's cut edge hardly exceeds: that of the strips', or of white card."""
    if scene.white is None:
        return None
    return TUNED.brighter * max(scene.tone or 0.0, scene.edges.usual_tone(scene.white))


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
    ends = [np.searchsorted(offsets, wanted - half_card - base_mm * share) for share in TUNED.edge_span]
    band = (total[ends[1]] - total[ends[0]]) / np.maximum(ends[1] - ends[0], 1)
    excess = np.log(np.maximum(band, 1e-6) / brightest)
    cost = TUNED.bright_cost * len(strip) * np.clip(excess / TUNED.bright_log, 0.0, 1.0)
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
    k = int(round(TUNED.parallax_mm / TUNED.step_mm))
    padded = np.pad(profile, k, constant_values=0.0)
    shifts = np.arange(-k, k + 1)
    rows = [padded[k + d : k + d + len(profile)] * (1 - TUNED.parallax_share * (d / k) ** 2) for d in shifts]
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
    near = np.flatnonzero(np.abs(wanted - level) <= TUNED.parallax_mm + TUNED.own_slack_mm)
    if len(near) < 3:
        return 0.0, False
    k = int(near[np.argmax(profile[near])])
    if profile[k] < TUNED.own_least or k in (near[0], near[-1]):
        return 0.0, False
    return _peak(profile, wanted, k) - level, True


def _peak(values: Array, grid: Array, k: int) -> float:
    if k in (0, len(values) - 1):
        return float(grid[k])
    move = float(crest_shift(values[k - 1], values[k], values[k + 1]))
    return float(grid[k] + move * (grid[1] - grid[0]))
