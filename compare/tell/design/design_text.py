"""A design looked at before anything is cut: its equalities, its sums, and how it moves."""

from typing import Final, TextIO

import numpy as np
from rich.table import Table
from rich.text import Text

from compare.design.linkage.mechanism import Pair
from compare.design.spec.spec import Spec
from compare.design.study.concerns import concerns, remarks
from compare.design.study.design_fixes import worst_of
from compare.design.study.motion import Motion, move
from compare.design.study.soundness import shut_reach, unclosed_loops
from compare.design.study.tolerance import WANTED, Share, Study
from compare.tell.check.check_terminal import console_for, table_of
from compare.tell.words.designs.design_words import all_told, contact_told, falls_short, headline, with_fix
from compare.tell.words.name_words import two_sums
from compare.units import Unit, unit_of
from compare.vocabulary import Told, parsed
from measure.sides import SIDES

OPENINGS: Final = (180, 150, 120, 90, 60, 30, 0)
SHARES_SHOWN: Final = 6
EARLY: Final = np.radians(5.0)  # binding so near to shut is rounding of the drawing


def equalities(spec: Spec) -> list[tuple[str, float, str]]:
    """Differences that must be zero: in words, how large, and "mm" or "deg"."""
    m = spec.mechanism
    n = m.lengths
    out = []
    for p in m.pairs:
        out.append((p.name, n[p.first] - n[p.second], "deg" if p.first in m.degrees else "mm"))
    for loop in m.loops:
        kind = "deg" if set(loop.one) <= m.degrees else "mm"
        if loop.name == "feet":
            out.append(("foot + fold, left = right", loop.error(n), kind))
        else:
            words = " = ".join(two_sums(loop.one, loop.other))
            told = f"{words} {loop.name}" if loop.name in SIDES else f"{loop.name}: {words}"
            out.append((told, loop.error(n), kind))
    return out


def _equalities_table(spec: Spec, unit: Unit) -> Table:
    table = table_of(f"Equalities, {unit.name}", "should be equal", "difference")
    oblique = {p.name for h in spec.building.oblique_halves() for p in _pairs_of(spec, h)}
    for words, difference, kind in equalities(spec):
        shown = unit.signed(difference) if kind == "mm" else f"{difference + 0.0:+.2f}°"
        table.add_row(words, shown + (" by design" if words in oblique else ""))
    return table


def _pairs_of(spec: Spec, half: str) -> list[Pair]:
    """Return the pairs of one half's leg."""
    governs = spec.mechanism.half(half).governs
    side = parsed(half)
    return [
        p
        for p in spec.mechanism.pairs
        if p.first in governs and (parsed(p.first).stage, parsed(p.first).side) == (side.stage, side.side)
    ]


def _heights(spec: Spec, motion: Motion) -> list[str]:
    """Return the joints whose height is shown: the ridges, or the highest joint."""
    ridges = [k for k in motion.pose.joints if parsed(k).is_ridge]
    return ridges or [motion.highest]


def motion_table(spec: Spec, unit: Unit, motion: Motion) -> Table:
    """Return heights, leans and nod at several openings up to the stated one."""
    m = spec.mechanism
    heights = _heights(spec, motion)
    leans = [h.name for h in m.halves]
    same = len(leans) > 4  # stages: show one column for halves that lean alike
    columns = [f"{k}, {unit.name}" for k in heights]
    columns += [f"lean {k}, deg" for k in ([] if same else leans)]
    columns += ["largest lean, deg"] if same else []
    columns += ["nod, deg"] if motion.pose.nod is not None else []
    table = table_of("How it opens", "opening, deg", *columns)
    openings = [spec.base.opening_deg, *(a for a in OPENINGS if a < spec.base.opening_deg)]
    for deg in openings:
        if motion.shut_at >= EARLY and np.radians(deg) < motion.shut_at:
            table.add_row(f"{deg:g}", *(["jams"] * len(columns)))
            continue
        nearest = motion.shut_at if motion.shut_at < EARLY else 0.0  # as far as a rounded drawing shuts
        pose = m.solve({}, max(np.radians(deg), nearest))
        shown = [_or_jams(float(pose.joints[k][1]), unit) for k in heights]
        degrees = [float(np.degrees(pose.lean[k])) for k in leans]
        if same:
            degrees = [max(degrees, key=abs)]
        if pose.nod is not None:
            degrees.append(float(np.degrees(pose.nod)))
        shown += [f"{round(v, 2) + 0.0:+.2f}" if np.isfinite(v) else "jams" for v in degrees]
        table.add_row(f"{deg:g}", *shown)
    return table


def _or_jams(mm: float, unit: Unit) -> str:
    return unit.number(mm) if np.isfinite(mm) else "jams"


def _shut_table(spec: Spec, unit: Unit, motion: Motion) -> Table:
    table = table_of(f"Shut, {unit.name}", "side", "reach", "page", "clearance", "asked for")
    for s in SIDES:
        reach, page = shut_reach(spec, s), float(getattr(spec.base, f"page_{s}"))
        asked = unit.number(spec.tolerance.clearance)
        if np.isfinite(reach):
            table.add_row(s, unit.number(reach), unit.number(page), unit.signed(page - reach), asked)
        else:
            table.add_row(s, "not known", unit.number(page), "not known", asked)
    return table


def _closing_words(spec: Spec, motion: Motion) -> list[str]:
    """Say how it shuts, how it opens, and how near its ends card comes."""
    unit = unit_of(spec.units)
    phi = float(np.degrees(motion.shut_at))
    early = motion.shut_at < EARLY and not unclosed_loops(spec)
    out = []
    if phi == 0 or early:
        out.append("It shuts without jamming.")
    else:
        out.append(
            f"Closing, card first jams at {phi:.0f} degrees"
            + (f": {contact_told(motion.contact)}." if motion.contact else ".")
        )
    if motion.opens_to > np.pi - 1e-6:
        out.append("It opens flat.")
    else:
        out.append(f"It opens to {np.degrees(motion.opens_to):.1f} degrees, not flat.")
    top = float(np.nanmax(motion.rise))
    at = float(np.degrees(motion.phi[int(np.nanargmax(motion.rise))]))
    opened = int(np.argmin(np.abs(motion.phi - np.radians(spec.base.opening_deg))))
    high = f"It stands {unit.words(float(motion.rise[opened]))} high when open, at most {unit.words(top)}"
    out.append(f"{high} ({at:.0f} degrees).")
    if np.isfinite(motion.far).any():
        near, far = -float(np.nanmax(motion.near)) + 0.0, -float(np.nanmax(motion.far)) + 0.0
        free = f"{unit.words(max(near, 0.0))} (near) and {unit.words(far)} (far)"
        out.append(f"Along the spine at least {free} stay free.")
    return out


def print_design(
    spec: Spec, stream: TextIO, motion: Motion | None = None, found: Study | None = None
) -> None:
    """Print what the design promises; the first line says whether it is sound, `found` is how it scatters."""
    console, unit = console_for(stream), unit_of(spec.units)
    moved = move(spec) if motion is None else motion
    wrong = concerns(spec, moved)
    style = "yellow" if wrong or falls_short(found) else "green"
    console.print(Text(f"{spec.title or spec.source.name}. {headline(spec, wrong, found)}", style=style))
    for fact in wrong:
        if fact is not worst_of(wrong):
            console.print(Text(f"  - {with_fix(spec, fact)}"))
    for w in all_told(remarks(spec, moved), spec):
        console.print(Text(f"  ({w})"))
    console.print()
    if spec.mechanism.pairs or spec.mechanism.loops:
        console.print(_equalities_table(spec, unit))
        console.print()
    console.print(motion_table(spec, unit, moved))
    console.print()
    console.print(_shut_table(spec, unit, moved))
    console.print()
    console.print(Text(" ".join(_closing_words(spec, moved))))


def _number(x: float, digits: int = 2) -> str:
    return f"{x + 0.0:.{digits}f}" if np.isfinite(x) else "-"


def print_study(spec: Spec, found: Study, stream: TextIO) -> None:
    """Print how a design scatters: shares, table of results, and which length deserves the care."""
    console = console_for(stream)
    lengths = {k: v for k, v in found.spreads.items() if k not in spec.mechanism.degrees}
    unit = unit_of(spec.units)
    low, high = (unit.number(v) for v in (min(lengths.values()), max(lengths.values())))
    sd = f"{low} {unit.name}" if low == high else f"{low} to {high} {unit.name}"
    at = f"{spec.base.opening_deg:g} degrees"
    limited = [r for r in found.results if np.isfinite(r.within)]
    if limited:
        console.print(
            Text(
                f"Of {found.samples} dummies with lengths scattered by {sd} (standard deviation), "
                f"{100 * found.level:.1f} % are level within {spec.tolerance.level_deg:g} degrees at {at}, "
                f"{100 * found.conform:.1f} % also clear of the fore edges."
            )
        )
        console.print(Text(_tighten_words(found, unit)))
    if np.isfinite(found.contact[0]):
        console.print(
            Text(
                f"Half of them bind by {found.contact[0]:.0f} degrees on the way to shut, 95 % by no more "
                f"than {found.contact[1]:.0f}; forced shut, they bow."
            )
        )
    console.print()
    table = table_of(
        "Scatter", "result", "nominal", "mean", "sd", "sd, 1st order", "95 % from", "to", "within"
    )
    for r in found.results:
        k, name = (1.0, "°") if r.unit == "deg" else (unit.mm, f" {unit.name}")
        digits = 2 if k == 1.0 else 3
        table.add_row(
            r.name,
            _number(r.nominal / k, digits) + name,
            *(
                _number(v / k, d)
                for v, d in ((r.mean, digits), (r.sd, digits + 1), (r.sd_linear, digits + 1))
            ),
            _number(r.low / k, digits),
            _number(r.high / k, digits),
            f"{100 * r.within:.1f} %" if np.isfinite(r.within) else "",
        )
    console.print(table)
    for r in found.results:
        if parsed(r.name).told == Told.LEAN and r.shares:
            console.print()
            console.print(_shares_table(r.name, r.shares[:SHARES_SHOWN], spec, found))


def _tighten_words(found: Study, unit: Unit) -> str:
    """Say how tight the lengths must be for `WANTED` of the dummies to conform."""
    share = f"{100 * WANTED:.0f} %"
    if not np.isfinite(found.tighten):
        return f"No scatter is small enough for {share} to conform: the design itself is at its limits."
    if found.tighten >= 4:
        return f"Even four times that scatter lets {share} conform."
    kind = "tighter" if found.tighten < 1 else "looser"
    typical = float(np.median(list(found.spreads.values())))
    return (
        f"For {share} to conform every length must be {found.tighten:.2f} times as scattered ({kind}): "
        f"{unit.number(typical * found.tighten)} {unit.name} where it is {unit.number(typical)} now."
    )


def _shares_table(name: str, shares: tuple[Share, ...], spec: Spec, found: Study) -> Table:
    unit = unit_of(spec.units)
    columns = ("length", f"per {unit.name}, deg", f"scatter, {unit.name}", "share of the variance")
    table = table_of(f"What makes the {name}", *columns)
    for s in shares:
        in_degrees = s.length in spec.mechanism.degrees
        scatter = f"{found.spreads[s.length]:.2f}°" if in_degrees else unit.number(found.spreads[s.length])
        rate = s.rate * (1.0 if in_degrees else unit.mm)
        table.add_row(
            s.length, f"{rate:+.3f}" + ("/°" if in_degrees else ""), scatter, f"{100 * s.share:.1f} %"
        )
    return table
