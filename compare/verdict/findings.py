"""Everything compared: one profile against one design. No files, no photo; the heart of `check`."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from compare.cause.binding import Binding, binding_of
from compare.cause.causes import CUTTING_SD, Cause, Diagnosis, cause_of_length, diagnose
from compare.cause.lean import DEG, Leaning, leaning
from compare.cause.symptoms import Symptom, symptoms_of
from compare.cure.plans import Remedy
from compare.cure.remedies import remedies_for
from compare.design.spec.spec import Spec
from compare.quantities.joint_quantities import FEET, seen_ends
from compare.quantities.lengths_by_hand import HandReading, as_cut, with_readings
from compare.quantities.measured import Measured, feet_lengths, measured_of, nominal_lengths
from compare.quantities.undetermined import Reason, Undetermined, Why
from compare.verdict.conformity import COVERAGE, Item, Rule, Verdict, overall
from compare.verdict.matched_pairs import compare_pairs
from compare.verdict.outlook import Outlook, demands_of, outlook_of
from compare.verdict.remarks import BothFeet, ReadByHand
from compare.verdict.shut_reach import Overhang, compare_clearance, compare_overhang, with_photo_of_shut
from compare.vocabulary import Kind, Told, parsed, told_of
from measure.profile import Profile


@dataclass(frozen=True, eq=False, kw_only=True)
class Findings:
    """The comparison of one dummy with its design.

    Attributes
    ----------
    lengths, angles, pairs, clearances : items with limits and verdicts (angles carry none of their own).
    leans : one per half that is seen.
    diagnosis : ranked causes. `causes` : those the answer names, most telling first.
    remedies : what to do about them.
    undetermined : what the photo does not show -> why.
    verdict : over all items that carry limits.
    rule : the decision rule all verdicts follow.
    symptoms : what the photo shows beside the lengths.
    overhangs : a closed photo's overhang beside the predicted one; () without such a photo.
    """

    spec: Spec
    measured: Measured
    lengths: tuple[Item, ...]
    angles: tuple[Item, ...]
    pairs: tuple[Item, ...]
    leans: tuple[Leaning, ...]
    clearances: tuple[Item, ...]
    diagnosis: Diagnosis
    causes: tuple[Cause, ...]
    remedies: tuple[Remedy, ...]
    undetermined: Mapping[str, Undetermined]
    verdict: Verdict
    rule: Rule = Rule.GUARDED
    symptoms: tuple[Symptom, ...] = ()
    overhangs: tuple[Overhang, ...] = ()

    @cached_property
    def binding(self) -> Binding | None:
        """At which opening it binds when shut (worked out when first asked for); None if unknown."""
        return binding_of(self.measured, self.spec)

    @cached_property
    def outlook(self) -> Outlook | None:
        """How likely it is good as a whole (worked out when first asked for); None if too little is seen."""
        halves = self.spec.mechanism.halves
        if len(self.leans) < len(halves) or unseen_lengths(self.measured, self.spec):
            return None
        spread = self.spec.tolerance.spread
        blamed = [k for c in self.causes for k in c.fault.pattern]
        cut = as_cut(self.measured, self.spec, spread if np.isfinite(spread) else CUTTING_SD, blamed)
        return outlook_of(cut, self.spec, demands_of(cut, self.spec, self.items))

    @property
    def unseen(self) -> tuple[str, ...]:
        """What the photo should show and does not: without it the dummy cannot be called good."""
        halves = (told_of(Told.LEAN, h.name) for h in self.spec.mechanism.halves)
        seen = {n.item.name for n in self.leans}
        return (*unseen_lengths(self.measured, self.spec), *(h for h in halves if h not in seen))

    @property
    def items(self) -> tuple[Item, ...]:
        """All items the verdict rests on."""
        return (*self.lengths, *self.pairs, *(n.item for n in self.leans), *self.clearances)


def _length_items(measured: Measured, spec: Spec) -> tuple[Item, ...]:
    """Compare each measured length with nominal; the feet's distance holds two, so twice the tolerance."""
    nominal = nominal_lengths(spec, measured.opening.value)
    items: list[Item] = []
    feet = feet_lengths(spec.mechanism) or ()
    for name, q in measured.lengths.items():
        parts = feet if name == FEET else (name,)
        tolerance = sum(spec.tolerance.of(k) for k in parts)
        items.append(
            Item(
                name=name,
                unit="mm",
                nominal=nominal[name],
                measured=q.value,
                u=measured.u(q),
                low=-tolerance,
                high=tolerance,
                remarks=(BothFeet(),) if name == FEET else (),
            )
        )
    return tuple(items)


def _read_by_hand(items: Sequence[Item], readings: Sequence[HandReading]) -> tuple[Item, ...]:
    """Return the items, those that were read by hand with what was read."""
    read = {r.name: ReadByHand(r.value_mm, COVERAGE * r.u_mm) for r in readings}
    return tuple(replace(i, remarks=(*i.remarks, read[i.name])) if i.name in read else i for i in items)


def _angle_items(measured: Measured, spec: Spec) -> tuple[Item, ...]:
    """Angles for information: they follow from the lengths, so they have no limits of their own."""
    pose = spec.mechanism.solve({}, np.radians(spec.base.opening_deg))
    nominal = {"opening": float(pose.phi), **{k: float(v) for k, v in pose.angles.items()}}
    infinite = float("inf")
    return tuple(
        Item(
            name=name,
            unit="deg",
            nominal=nominal[name] * DEG,
            measured=q.value * DEG,
            u=measured.u(q) * DEG,
            low=-infinite,
            high=infinite,
        )
        for name, q in measured.angles.items()
    )


def _causes_to_name(
    diagnosis: Diagnosis, failing: list[Item], measured: Measured, spec: Spec
) -> tuple[Cause, ...]:
    """Return the faults of the best explanation, or the lengths that fail if that is "nothing wrong"."""
    if diagnosis.named:
        return tuple(sorted(diagnosis.named, key=lambda c: -c.telling))
    alone = sorted(failing, key=lambda i: -abs(i.deviation / i.high))
    causes = [cause_of_length(i.name, i.deviation, i.u, measured, spec) for i in alone]
    return tuple(c for c in causes if c is not None)


def unseen_lengths(measured: Measured, spec: Spec) -> tuple[str, ...]:
    """Return the lengths the photo should show and does not.

    Those that begin at the spine or end at a fore edge are not among them: a flat, unmarked base never shows
    the one and seldom the other, and what rests on the feet is told by their distance.
    """
    ends = {
        k: v
        for k, v in seen_ends(spec.mechanism).items()
        if v[0] != Kind.SPINE and parsed(v[1]).kind != Kind.FORE_EDGE
    }
    return tuple(k for k in measured.undetermined if k in ends)


def _unexplained(leans: Sequence[Leaning], measured: Measured, spec: Spec) -> dict[str, float]:
    """Return by lean how much of it (degrees) no length explains, where that is beyond doubt.

    Legs more than a half needs bow, so what they leave over is no riddle.
    """
    lengths = {k: q.value for k, q in measured.working.items()}
    if spec.mechanism.solve(lengths, measured.opening.value).stretch:
        return {}
    return {n.item.name: n.remainder_deg for n in leans if n.remainder_matters}


def _ruled(items: Iterable[Item], rule: Rule) -> tuple[Item, ...]:
    """Return the items, each judged by this rule."""
    return tuple(replace(i, rule=rule) for i in items)


def compare_profile(
    profile: Profile,
    spec: Spec,
    *,
    rule: Rule = Rule.GUARDED,
    measured: Measured | None = None,
    readings: Sequence[HandReading] = (),
    seen_shut: Mapping[str, tuple[float, float]] | None = None,
) -> Findings:
    """Compare a measured profile with the design.

    Parameters
    ----------
    profile : joints with their joint covariance, mm.
    spec : the design with its tolerances.
    rule : how the uncertainty enters the verdicts.
    measured : its named lengths and angles, if more is known of them than this profile says.
    readings : lengths read by hand, taken in beside what the profile says.
    seen_shut : edge ("left fore edge", "right fore edge", "head", "tail") -> overhang (mm, + = beyond the
        edge) and its standard uncertainty (mm) in a photo of the shut dummy: what sticks out there is
        measured, and stands beside what the lengths predict.
    """
    measured = measured_of(profile, spec) if measured is None else measured
    measured = with_readings(measured, spec, readings)
    lengths = _ruled(_read_by_hand(_length_items(measured, spec), readings), rule)
    pairs, no_pairs = compare_pairs(measured, spec)
    predicted, no_clearance = compare_clearance(measured, spec)
    clearances = with_photo_of_shut(predicted, seen_shut or {})
    pairs, clearances = _ruled(pairs, rule), _ruled(clearances, rule)
    halves = tuple(h.name for h in spec.mechanism.halves)
    seen = (leaning(measured, spec, h) for h in halves)
    leans = tuple(replace(n, item=replace(n.item, rule=rule)) for n in seen if n is not None)
    undetermined: dict[str, Undetermined] = {**measured.undetermined, **no_pairs, **no_clearance}
    for half in spec.mechanism.halves:
        if half.name not in measured.lean:
            bearing = [
                k for k, (a, _) in spec.mechanism.ends.items() if k in half.governs and parsed(k).on_plane
            ]
            why = next((measured.undetermined[k] for k in bearing if k in measured.undetermined), None)
            undetermined[told_of(Told.LEAN, half.name)] = why or Reason(Why.HALF_NOT_FOUND)
    items = (*lengths, *pairs, *(n.item for n in leans), *clearances)
    verdict = overall(i.verdict for i in items)
    if verdict is Verdict.CONFORMS and (len(leans) < len(halves) or unseen_lengths(measured, spec)):
        verdict = Verdict.OPEN  # what was not seen cannot be called good
    diagnosis = diagnose(measured, spec)
    causes: tuple[Cause, ...] = ()
    if verdict is not Verdict.CONFORMS:
        failing = [i for i in lengths if i.verdict is Verdict.FAILS]
        causes = _causes_to_name(diagnosis, failing, measured, spec)
    remedies: tuple[Remedy, ...] = ()
    if verdict is Verdict.FAILS:
        remedies = remedies_for(causes, measured, spec, items, _unexplained(leans, measured, spec))
    return Findings(
        spec=spec,
        measured=measured,
        lengths=lengths,
        angles=_angle_items(measured, spec),
        pairs=pairs,
        leans=leans,
        clearances=clearances,
        diagnosis=diagnosis,
        causes=causes,
        remedies=remedies,
        undetermined=undetermined,
        verdict=verdict,
        rule=rule,
        symptoms=symptoms_of(profile, measured, spec),
        overhangs=compare_overhang(measured, spec, seen_shut or {}),
    )
