"""Finding every panel of a layout: placed roughly, candidates chosen together, each near end refined."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from measure.candidates import best_lines, line_scores
from measure.choose import Choice, PanelLines, choose, cross_point
from measure.evidence import Evidence, Template
from measure.layout import Layout, Panel, Role
from measure.level import joints_under_plane, page_level
from measure.locate import Placement, Region, place_layouts
from measure.refine import Fit, off_tone, refine, scan, stations_for
from measure.strip import Curve, Plane

Array = NDArray[np.float64]

REACH_MM = 7.0
STEP_MM = 0.1
N_CANDIDATES = 16
N_PLACEMENTS = 3
WORTH_TRYING = 0.88  # of the best coarse score
CLEAR_STEP = 8.0
PAGE_CAP = 12.0
MAX_FACE_MM = 10.0
MIN_FACE_MM = 0.8
FAR_CAP = 40.0
FAR_SLACK_MM = 0.5
FAR_WEIGHT = 0.6
SAME_TONE = 0.15  # natural logarithm: a fit is not repeated for less
MIN_SHARE = 0.4
MIN_SCORE = 5.0
MAX_RMS_MM = 0.25
REACH_FINE_MM = 0.7
APEX_MIN_SINE = 0.35  # folds that cross at a smaller angle do not place the ridge in height
RIDGE_GAP_MM = 0.35
TABLE_SD_MM = 1.5
TABLE_WEIGHT = 40.0
TABLE_CAP = 6.0
ROLLS_DEG = (-2.0, 0.0, 2.0)
ORDER = {Role.PAGE: 0, Role.FOLD: 1, Role.PLANE: 2, Role.LEG: 3}


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Finding:
    """What was found in one photo.

    Attributes
    ----------
    fits : panel name -> fit of its near end's middle line; only panels found.
    hinges : panel name -> the line its joints lie on.
    missing : panel name -> why it was not found.
    choice : the combination of rough lines.
    layer_sd : panel name -> what its layers leave uncertain about the place of its joints, mm.
    joint_shift : foot -> displacement (2,) of its own tab from the page's line, where the tab was seen.
    """

    fits: Mapping[str, Fit]
    hinges: Mapping[str, Curve]
    missing: Mapping[str, str]
    choice: Choice | None
    layer_sd: Mapping[str, float] = field(default_factory=dict)
    joint_shift: Mapping[str, Array] = field(default_factory=dict)


def find_layout(plane: Plane, layout: Layout, region: Region, blur_px: float) -> Finding:
    """Find all panels of the layout; those that the photo does not show are named as missing."""
    placements = place_layouts(plane, layout.openings(), region, tuple(np.deg2rad(ROLLS_DEG)))
    best: tuple[list[PanelLines], Choice, float | None] | None = None
    for placement in _distinct(placements):
        views = [
            _look(plane, placement.layout, p, placement, region, blur_px)
            for p in sorted(layout.panels, key=lambda p: ORDER[p.role])
        ]
        # A first choice tells how bright the card's cut edges are; with that, the choice is made again.
        tone: float | None = None
        for _ in range(2):
            items = [item for item in (_candidates(view, tone) for view in views) if item.candidates]
            choice = choose(placement.layout, items)
            if choice is None:
                break
            tone = _rough_tone(views, items, choice)
        if choice is not None and (best is None or choice.score > best[1].score):
            best = (items, choice, tone)
    if best is None:
        return Finding(
            fits={}, hinges={}, missing={p.name: "no trace of it" for p in layout.panels}, choice=None
        )
    items, choice, tone = best
    rough = _rough_curves(items, choice, region)
    fits: dict[str, Fit] = {}
    hinges: dict[str, Curve] = {}
    layer_sd: dict[str, float] = {p.name: 0.2 * layout.card_mm for p in layout.panels}
    standing = [item for item in items if item.panel.role is not Role.PAGE]
    for _ in range(2):
        for item in standing:
            name = item.panel.name
            fits[name], hinges[name], layer_sd[name] = _fit_panel(
                plane, layout, item, rough[name], blur_px, tone
            )
        before, tone = tone, _cut_edge_tone(plane, layout, standing, fits, blur_px)
        if before and tone and abs(np.log(tone / before)) < SAME_TONE:
            break
    _settle_planes(plane, layout, standing, fits, hinges, layer_sd, blur_px)
    missing = {item.panel.name: _doubt(fits[item.panel.name]) for item in standing}
    missing = {name: why for name, why in missing.items() if why}
    for name in missing:
        del fits[name], hinges[name]
    seen = {item.panel.name for item in items}
    missing |= {p.name: "no trace of it" for p in layout.panels if p.name not in seen}
    pages = [item for item in items if item.panel.role is Role.PAGE]
    joint_shift: dict[str, Array] = {}
    for group in _page_groups(layout, pages):
        _fit_pages(plane, layout, group, rough, fits, hinges, joint_shift, region, blur_px, tone)
    return Finding(
        fits=fits, hinges=hinges, missing=missing, choice=choice, layer_sd=layer_sd, joint_shift=joint_shift
    )


def _distinct(placements: list[Placement]) -> list[Placement]:
    """Placements worth a closer look: good ones, each somewhere else than the better ones."""
    out: list[Placement] = []
    for p in placements:
        near = any(
            np.hypot(p.x_mm - q.x_mm, p.y_mm - q.y_mm) < 6.0 and p.layout.opening_deg == q.layout.opening_deg
            for q in out
        )
        if not near and p.score >= WORTH_TRYING * placements[0].score:
            out.append(p)
    return out[:N_PLACEMENTS]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Look:
    """One panel's surroundings, straightened along its expected place."""

    panel: Panel
    curve: Curve
    stations: Array
    evidence: Evidence
    far_edge: Array
    inside: NDArray[np.bool_]
    up: float
    hinge_mm: float
    table_mm: float | None


def _look(
    plane: Plane, layout: Layout, panel: Panel, placement: Placement, region: Region, blur_px: float
) -> _Look:
    ends = placement.apply(np.stack([layout.at(panel.joints[0]), layout.at(panel.joints[-1])]))
    curve = Curve(a=ends[0], b=ends[1])
    page = panel.role is Role.PAGE
    s = stations_for(curve, 1.5, 1.5, 2.0 if page else 1.0)
    shift = _near_shift(plane, curve, s, layout.depth_mm)
    room = REACH_MM + 0.2 + min(float(np.max(np.abs(shift))) + 0.5, MAX_FACE_MM)
    evidence = scan(plane, curve, s, room, STEP_MM, _template(plane, layout, panel, curve, blur_px))
    up = _up(layout, panel, placement, curve)
    return _Look(
        panel=panel,
        curve=curve,
        stations=s,
        evidence=evidence,
        far_edge=_far_edge(plane, evidence, shift, layout.depth_mm),
        inside=_inside(curve.points(s), region),
        up=up,
        hinge_mm=up * (layout.base_mm + layout.card_mm) / 2 if page else 0.0,
        table_mm=_page_height(layout, region) if page else None,
    )


def _near_shift(plane: Plane, curve: Curve, stations: Array, depth_mm: float) -> Array:
    """How far (S,) across the curve the near end lies from what is taken for its far end."""
    lever = (curve.points(stations) - plane.eye_mm[:2]) @ curve.normal
    out: Array = lever * depth_mm / (plane.eye_mm[2] - plane.z_mm)
    return out


def _far_edge(plane: Plane, evidence: Evidence, shift: Array, depth_mm: float) -> Array:
    """Penalty (S, K) where an edge is more likely the FAR end of a panel than its near end.

    If a line were a far end, the near end of the same panel would lie a known distance farther from the
    eye; where an edge is seen there too, the line is suspect.
    """
    x = evidence.offsets_mm
    per_mm = depth_mm / (plane.eye_mm[2] - plane.z_mm)
    # The step on the background side lies half a card from the middle line; depth is not quite known.
    window = 2 * int(round(FAR_SLACK_MM / STEP_MM)) + 1
    outer = maximum_filter1d(np.minimum(evidence.outer, FAR_CAP), window, axis=1)
    near = np.stack(
        [
            np.interp(x * (1 + per_mm) + d, x, row, left=0, right=0)
            for row, d in zip(outer, shift, strict=True)
        ]
    )
    # Too near the stripe itself to be told from it.
    out: Array = np.where(np.abs(shift)[:, None] > MIN_FACE_MM, FAR_WEIGHT * near, 0.0)
    return out


def _page_height(layout: Layout, region: Region) -> float | None:
    """Height of the middle of a flat page that lies on the same table as the sheet; else None."""
    if region.table_mm is None or not _flat(layout):
        return None
    return region.table_mm + layout.base_mm / 2


def _candidates(look: _Look, tone: float | None) -> PanelLines:
    page = look.panel.role is Role.PAGE
    evidence = look.evidence
    if page:
        # A long modest edge must beat a short strong shadow.
        score = np.minimum(evidence.outer, PAGE_CAP) + 0.5 * np.minimum(evidence.inner, PAGE_CAP)
    else:
        score = evidence.score - off_tone(evidence, tone) - look.far_edge
    score = score * look.inside[:, None]
    sums = line_scores(score, evidence.offsets_mm, look.stations, REACH_MM, 2.0 if page else REACH_MM)
    if page and look.table_mm is not None:
        sums = sums - _off_table(look, sums.shape[0])
    return PanelLines(
        panel=look.panel,
        base=look.curve,
        candidates=best_lines(sums, REACH_MM, N_CANDIDATES, 0.25),
        hinge_mm=look.hinge_mm,
        up=look.up,
    )


def _off_table(look: _Look, size: int) -> Array:
    """Penalty (N, N) for lines of a flat page that do not lie on the table the sheet stands on.

    Gentle and limited: the dummy may stand on a book.
    """
    assert look.table_mm is not None
    grid = np.linspace(-REACH_MM, REACH_MM, size)
    up = look.curve.normal[1]
    ends = [(end[1] + grid * up - look.table_mm) / TABLE_SD_MM for end in (look.curve.a, look.curve.b)]
    off = 0.5 * (ends[0][:, None] ** 2 + ends[1][None, :] ** 2)
    out: Array = TABLE_WEIGHT * np.minimum(off, TABLE_CAP)
    return out


def _rough_tone(looks: list[_Look], items: list[PanelLines], choice: Choice) -> float | None:
    """Grey value of cut edges along the chosen lines, where both of a stripe's steps are seen."""
    tones: list[Array] = []
    by_name = {look.panel.name: look for look in looks}
    for item in items:
        look = by_name[item.panel.name]
        if look.panel.role is Role.PAGE:
            continue
        c = item.candidates[choice.index[look.panel.name]]
        offset = c.d0_mm * (1 - look.stations) + c.d1_mm * look.stations
        k = np.rint((offset - look.evidence.offsets_mm[0]) / STEP_MM).astype(int)
        rows = np.arange(len(k))
        clear = np.minimum(look.evidence.outer[rows, k], look.evidence.inner[rows, k]) > CLEAR_STEP
        tones.append(look.evidence.middle[rows[clear], k[clear]])
    return _median_tone(tones)


def _median_tone(tones: list[Array]) -> float | None:
    """Median over panels of each panel's median, so that one misplaced panel does not set the tone."""
    medians = [float(np.median(t)) for t in tones if len(t) >= 5]
    return float(np.median(medians)) if len(medians) >= 2 else None


def _up(layout: Layout, panel: Panel, placement: Placement, curve: Curve) -> float:
    """+1 if up (from the pages toward the plane) is to the left of the panel, else -1."""
    pages = [j for p in layout.panels if p.role is Role.PAGE for j in p.joints]
    others = [j for j in layout.joint_names if j not in pages]
    base = placement.apply(np.stack([layout.at(j) for j in pages])).mean(axis=0)
    top = placement.apply(np.stack([layout.at(j) for j in others])).mean(axis=0)
    return 1.0 if float((top - base) @ curve.normal) > 0 else -1.0


def _template(plane: Plane, layout: Layout, panel: Panel, curve: Curve, blur_px: float) -> Template:
    scale = plane.view.px_per_mm(curve.points(np.array([0.5]))[0], plane.z_mm)
    card = layout.base_mm if panel.role is Role.PAGE else layout.card_mm
    return Template(card_mm=card, blur_mm=max(blur_px / scale, 0.05), depth_mm=layout.depth_mm)


def _inside(xy: Array, region: Region) -> NDArray[np.bool_]:
    x, y = xy[:, 0], xy[:, 1]
    out: NDArray[np.bool_] = (x > region.left) & (x < region.right) & (y > region.bottom) & (y < region.top)
    return out


def _rough_curves(items: list[PanelLines], choice: Choice, region: Region) -> dict[str, Curve]:
    """Chosen lines, cut to the stretch between the joints where they meet their neighbours."""
    lines = {}
    for item in items:
        c = item.candidates[choice.index[item.panel.name]]
        lines[item.panel.name] = (item, replace(item.base, d0=c.d0_mm, d1=c.d1_mm).straightened())
    out: dict[str, Curve] = {}
    for name, (item, curve) in lines.items():
        ends = [curve.a, curve.b]
        for k, joint in ((0, item.panel.joints[0]), (1, item.panel.joints[-1])):
            crossings = [
                cross_point(curve.a[None], curve.tangent[None], other.a[None], other.tangent[None])[0]
                for other_name, (other_item, other) in lines.items()
                if other_name != name
                and joint in other_item.panel.joints
                and abs(float(curve.tangent @ other.normal)) > 0.2
            ]
            if crossings:
                ends[k] = np.mean(crossings, axis=0)
        if item.panel.role is Role.PAGE:
            ends = _clip(ends[0], ends[1], region)
        out[name] = Curve(a=ends[0], b=ends[1])
    return out


def _clip(a: Array, b: Array, region: Region) -> list[Array]:
    """Cut a-b to what lies inside the region's left and right."""
    s = np.linspace(0, 1, 401)
    xy = a + s[:, None] * (b - a)
    keep = np.flatnonzero((xy[:, 0] > region.left) & (xy[:, 0] < region.right))
    return [xy[keep[0]], xy[keep[-1]]] if len(keep) > 10 else [a, b]


def _cut_edge_tone(
    plane: Plane, layout: Layout, items: list[PanelLines], fits: Mapping[str, Fit], blur_px: float
) -> float | None:
    """Grey value of the card's cut edge: all of them face the camera alike. None if no fit shows it."""
    tones: list[Array] = []
    for item in items:
        fit = fits[item.panel.name]
        template = _template(plane, layout, item.panel, fit.curve, blur_px)
        s = stations_for(fit.curve, 1.5, 1.5)
        evidence = scan(plane, fit.curve, s, 0.1, 0.05, template)
        k = int(np.argmin(np.abs(evidence.offsets_mm)))
        both = np.minimum(evidence.outer[:, k], evidence.inner[:, k]) > CLEAR_STEP
        tones.append(evidence.middle[both, k])
    return _median_tone(tones)


def _doubt(fit: Fit) -> str:
    """Why a fit is not believed; "" if it is."""
    share = fit.n_used / fit.n_stations
    if share < MIN_SHARE or not np.isfinite(fit.rms_mm):
        return f"its near end shows at only {fit.n_used} of {fit.n_stations} places"
    if fit.mean_score < MIN_SCORE:
        return "its near end hardly stands out from what lies behind"
    if fit.rms_mm > MAX_RMS_MM:
        return f"what was found in its place is no straight edge (scatter {fit.rms_mm:.2f} mm)"
    return ""


def _fit_panel(
    plane: Plane,
    layout: Layout,
    item: PanelLines,
    rough: Curve,
    blur_px: float,
    tone: float | None,
) -> tuple[Fit, Curve, float]:
    template = _template(plane, layout, item.panel, rough, blur_px)
    if item.panel.role is Role.PLANE:
        return _fit_plane(plane, layout, item, rough, template, REACH_FINE_MM)
    fit = refine(plane, rough, template, trim_mm=(1.5, 1.5), tone=tone)
    return fit, fit.curve, 0.1 * layout.card_mm


def _fit_plane(
    plane: Plane, layout: Layout, item: PanelLines, rough: Curve, template: Template, reach_mm: float
) -> tuple[Fit, Curve, float]:
    """Fit of a plane half's card, the line its joints lie on, and the uncertainty of that level."""
    fit = refine(plane, rough, template, trim_mm=(1.0, 1.0), stack_up=item.up, reach_mm=reach_mm)
    spacing = float(np.hypot(*(layout.at(item.panel.joints[1]) - layout.at(item.panel.joints[0]))))
    under = joints_under_plane(plane, fit.curve, template, up=item.up, spacing_mm=spacing)
    shift = item.up * under.up_mm
    return fit, replace(fit.curve, d0=shift, d1=shift).straightened(), under.err_mm


def _settle_planes(
    plane: Plane,
    layout: Layout,
    standing: list[PanelLines],
    fits: dict[str, Fit],
    hinges: dict[str, Curve],
    layer_sd: dict[str, float],
    blur_px: float,
) -> None:
    """Fit a plane half again nearer to the ridge, if its joints miss the crossing of the folds.

    Where only one edge of the plane shows, it may have been taken for another layer's, one or two
    thicknesses off; the folds then know better, as long as the photo supports the other place too.
    """
    folds = [hinges[i.panel.name] for i in standing if i.panel.role is Role.FOLD]
    if len(folds) != 2 or abs(float(folds[0].tangent @ folds[1].normal)) < APEX_MIN_SINE:
        return
    a, b = folds
    apex = cross_point(a.a[None], a.tangent[None], b.a[None], b.tangent[None])[0]
    for item in standing:
        name = item.panel.name
        if item.panel.role is not Role.PLANE:
            continue
        gap = float((apex - hinges[name].a) @ hinges[name].normal)
        if abs(gap) < RIDGE_GAP_MM:
            continue
        start = replace(fits[name].curve, d0=gap, d1=gap).straightened()
        template = _template(plane, layout, item.panel, start, blur_px)
        fit, hinge, err = _fit_plane(plane, layout, item, start, template, 0.25)
        left = float((apex - hinge.a) @ hinge.normal)
        if abs(left) < 0.6 * abs(gap) and not _doubt(fit) and fit.mean_score > 0.5 * fits[name].mean_score:
            fits[name], hinges[name], layer_sd[name] = fit, hinge, err


def _flat(layout: Layout) -> bool:
    return abs(180.0 - layout.opening_deg) < 8.0


def _page_groups(layout: Layout, pages: list[PanelLines]) -> list[list[PanelLines]]:
    """Pages lying flat are looked at as one line, other pages each on its own."""
    if len(pages) == 2 and _flat(layout):
        return [pages]
    return [[page] for page in pages]


def _fit_pages(
    plane: Plane,
    layout: Layout,
    pages: list[PanelLines],
    rough: Mapping[str, Curve],
    fits: dict[str, Fit],
    hinges: dict[str, Curve],
    joint_shift: dict[str, Array],
    region: Region,
    blur_px: float,
    tone: float | None,
) -> None:
    """Fit the line of one page, or of two flat pages together, and note it under each page's name."""
    first, last = pages[0], pages[-1]
    a = rough[first.panel.name].b if len(pages) == 2 else rough[first.panel.name].a
    up = -first.up if len(pages) == 2 else first.up
    shift = up * (layout.base_mm + layout.card_mm) / 2
    start = Curve(a=a, b=rough[last.panel.name].b, d0=shift, d1=shift).straightened()
    feet = _feet(layout, pages, hinges, start)
    s = stations_for(start, 0.5, 0.5, 1.0)
    level = page_level(
        plane,
        start,
        list(feet.values()),
        base_mm=layout.base_mm,
        card_mm=layout.card_mm,
        blur_mm=_template(plane, layout, first.panel, start, blur_px).blur_mm,
        up=up,
        usable=_inside(start.points(s), region),
        stations=s,
        tone=tone,
    )
    down = -up * (layout.base_mm + layout.card_mm) / 2
    middle = replace(level.curve, d0=down, d1=down).straightened()
    for page in pages:
        turned = len(pages) == 2 and page is first
        line, hinge = (_turned(middle), _turned(level.curve)) if turned else (middle, level.curve)
        fits[page.panel.name] = Fit(
            curve=line,
            cov=np.diag([0.05**2, 0.05**2, 1e-6]),
            rms_mm=0.05,
            n_used=len(s),
            n_stations=len(s),
            mean_score=level.score,
        )
        hinges[page.panel.name] = hinge
    for joint, foot_up, seen in zip(feet, level.foot_up_mm, level.tab_seen, strict=True):
        if seen:
            joint_shift[joint] = up * foot_up * level.curve.normal


def _turned(curve: Curve) -> Curve:
    return Curve(a=curve.b, b=curve.a, bow=-curve.bow)


def _feet(
    layout: Layout, pages: list[PanelLines], hinges: Mapping[str, Curve], line: Curve
) -> dict[str, float]:
    """Where strips stand on the pages: foot -> mm along the line, by where their fits cross it."""
    out: dict[str, float] = {}
    on_page = {joint for page in pages for joint in page.panel.joints}
    for panel in layout.panels:
        if panel.role in (Role.FOLD, Role.LEG) and panel.joints[0] in on_page and panel.name in hinges:
            strip = hinges[panel.name]
            at = cross_point(line.a[None], line.tangent[None], strip.a[None], strip.tangent[None])[0]
            out[panel.joints[0]] = float((at - line.a) @ line.tangent)
    return out
