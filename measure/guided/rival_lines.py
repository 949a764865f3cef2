"""Other lines along which a strip's near end may lie: fitted like the one chosen, weighed, and not forgotten.

The choice of all lines together rests on rough lines and capped evidence. Fitted closely, another line may
explain its strip as well: seen along its whole length, evenly, where the dummy would be as designed. So
every strip's likeliest other lines are fitted too. The best of all fits is believed; one that is nearly as
good makes the strip as uncertain as the two are apart, so that no fault is told which another reading of the
photo does not show.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from capture.arrays import Array
from measure.edges.edge_evidence import softened
from measure.edges.line_fit import Fit, refine
from measure.geometry import Curve
from measure.guided.choose_lines import PanelLines, losses
from measure.guided.first_choice import FirstChoice
from measure.guided.found_panel import FoundPanel
from measure.guided.panel_doubt import doubt
from measure.layout import Role
from measure.scene import Scene


@dataclass(frozen=True, slots=True, kw_only=True)
class RivalNumbers:
    """Tuned numbers, found on path-traced photographs of known dummies, set back and flush."""

    most_loss: float = 320.0
    """A line with which the whole choice is worse by more (log-likelihood units) is no rival, ..."""
    least_share: float = 0.35
    """... nor one with less than that share of the best line's own evidence, ..."""
    most: int = 3
    """... and no more are looked at."""
    apart_mm: float = 0.6
    """Rough lines nearer to each other lead to the same fit; ..."""
    same_mm: float = 0.3
    """... and fits nearer to each other are one."""
    trim_mm: float = 1.5
    """So much of a panel's two ends is not used."""
    clean_mm: float = 0.05
    """A fit counts less as its stations scatter more than this."""
    soft: float = 12.0
    """Log-likelihood units: evidence of a station far beyond this hardly counts: dark against bright is no
    likelier a near end than pale against grey."""
    temperature: float = 60.0
    """Stations are not independent: log-likelihoods are divided by this before they become weights."""
    full_weight: float = 0.05
    """A rival of at least this weight is told in full: U reaches as far as it; a lesser one in part."""


TUNED = RivalNumbers()


@dataclass(frozen=True, slots=True, eq=False)
class _Reading:
    """One fit of a strip, and how good it is (log-likelihood units), the dummy's other lengths included."""

    fit: Fit
    value: float


def settled_strips(
    scene: Scene, first: FirstChoice, found: Mapping[str, FoundPanel]
) -> dict[str, FoundPanel]:
    """Return the panels, every strip by its best reading and with what other readings leave open."""
    out = dict(found)
    lost = losses(first.layout, first.items, first.choice)
    for item in first.items:
        name = item.panel.name
        if item.panel.role in (Role.FOLD, Role.LEG) and name in found:
            readings = _readings(scene, item, first.choice.index[name], lost[name], found[name].fit)
            if len(readings) > 1:
                out[name] = _settled(found[name], readings)
    return out


def _readings(scene: Scene, item: PanelLines, chosen: int, lost: Array, fit: Fit) -> list[_Reading]:
    """Return the fit at hand, then those of other candidates that differ from it and hold together."""
    best = item.candidates[chosen]
    out = [_Reading(fit, _quality(fit))]
    rough: list[Curve] = [_over(item, chosen, fit.curve)]
    for k in np.argsort(lost):
        other = item.candidates[int(k)]
        if lost[k] > TUNED.most_loss or len(rough) > TUNED.most:
            break
        line = _over(item, int(k), fit.curve)
        if other.score < TUNED.least_share * best.score or _near(line, rough, TUNED.apart_mm):
            continue
        rough.append(line)
        there = refine(
            scene.edges, line, scene.template(line, item.panel), trim_mm=(TUNED.trim_mm, TUNED.trim_mm)
        )
        if doubt(there) is not None or _near(there.curve, [r.fit.curve for r in out], TUNED.same_mm):
            continue
        # What the rest of the dummy loses by it: all that is lost, less what the line itself shows.
        rest = float(lost[k]) - (best.score - other.score)
        out.append(_Reading(there, _quality(there) - rest))
    return out


def _over(item: PanelLines, k: int, curve: Curve) -> Curve:
    """Return a candidate line over the stretch of a curve."""
    c = item.candidates[k]
    line = replace(item.base, d0=c.d0_mm, d1=c.d1_mm).straightened()
    a, b = (line.a + float((p - line.a) @ line.tangent) * line.tangent for p in (curve.a, curve.b))
    return Curve(a=a, b=b)


def _near(line: Curve, others: list[Curve], mm: float) -> bool:
    return any(float(np.max(np.abs(_apart(other, line)))) < mm for other in others)


def _apart(line: Curve, other: Curve) -> Array:
    """How far (2,) another line's ends lie off a line."""
    return np.array([float((p - line.a) @ line.normal) for p in (other.a, other.b)])


def _quality(fit: Fit) -> float:
    """Log-likelihood of a fit: its stations used, each counting little more where contrast is high."""
    if fit.n_used == 0 or not np.isfinite(fit.rms_mm):
        return 0.0
    share = fit.n_used / fit.n_stations
    each = float(softened(np.array(fit.mean_score / share), TUNED.soft))
    return each * share * fit.n_stations * min(1.0, TUNED.clean_mm / fit.rms_mm)


def _settled(panel: FoundPanel, readings: list[_Reading]) -> FoundPanel:
    """Return the panel by its best reading, with what the others leave open."""
    value = np.array([r.value for r in readings])
    weight = np.exp((value - value.max()) / TUNED.temperature)
    weight /= weight.sum()
    best = int(np.argmax(value))
    curve = readings[best].fit.curve
    open_cov = np.zeros((3, 3))
    for k, reading in enumerate(readings):
        if k != best:
            apart = np.array([*_apart(curve, reading.fit.curve), 0.0])
            part = min(1.0, float(weight[k]) / TUNED.full_weight)
            open_cov += part * np.outer(apart, apart) / 4  # so that U = 2 u reaches the other reading
    fit = readings[best].fit
    return replace(panel, fit=fit, hinge=fit.curve, open_cov=open_cov)
