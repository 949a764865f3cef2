"""Lots by simulation: readings of samples as photos of one set-up would give them, with known truth.

What is drawn: cutting scatter (independent, or each piece like the one before), an error of its own for every
photo, and a bias of each length that all photos of the set-up share. What is stated beside the readings is
what the photo knows of its own and of the shared errors; the hand knows the master's true lengths.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from capture.arrays import Array
from compare.design.spec.spec import Spec
from compare.lot.lot_advice import Advice, advice
from compare.lot.lot_decision import Decision, decide
from compare.lot.run.hand_readings import HandReading
from compare.lot.run.samples import Reading, Sample, judged
from compare.lot.study.lot_statistics import Statistics, statistics_of
from compare.lot.study.master import Master, compare_with
from compare.lot.study.repeatability import set_apart
from compare.verdict.conformity import Rule
from compare.verdict.matched_pairs import matches_of
from tests.helpers.made_profiles import TWO_SIDED, spec_of

LENGTHS = tuple(
    f"{kind} {side}"
    for kind in ("fold", "leg", "page spacing", "plane spacing")
    for side in ("left", "right")
)
"""Lengths that are measured; the matched pairs follow from them."""


ALONE = 0.03  # mm, bias of a single length beside that of its kind


@dataclass(frozen=True, kw_only=True)
class Shown:
    """How a set-up measures, standard deviations in mm.

    Attributes
    ----------
    own, bias : the errors there are: of each photo, and largest shared bias of a length (uniform, +-).
        Heights have one bias, spacings another, as the page's level and the print's scale make them, and each
        length `ALONE` of its own.
    stated_own, stated_common : what is stated of them.
    hand : of a reading by hand; cutting : of the pieces; alike : correlation of successive pieces.
    """

    own: float = 0.08
    bias: float = 0.3
    stated_own: float = 0.15
    stated_common: float = 0.16
    hand: float = 0.05
    cutting: float = 0.12
    alike: float = 0.0


@dataclass(frozen=True, eq=False, kw_only=True)
class Simulated:
    """A lot judged: samples, statistics, decision and advice, and the true deviations (n, lengths)."""

    truth: Array
    samples: tuple[Sample, ...]
    statistics: tuple[Statistics, ...]
    decision: Decision
    advice: tuple[Advice, ...]


def two_sided(place: Path, tolerance: float) -> Spec:
    """A two-sided design with this tolerance on lengths and pairs, mm."""
    text = TWO_SIDED.replace("length = 0.8", f"length = {tolerance}")
    return spec_of(text.replace("matched = 0.8", f"matched = {tolerance}"), place)


def pieces(n: int, shown: Shown, rng: np.random.Generator) -> Array:
    """Draw the cutting errors (n, lengths) of n pieces in order."""
    out = rng.normal(size=(n, len(LENGTHS)))
    for k in range(1, n):
        out[k] = shown.alike * out[k - 1] + np.sqrt(1 - shown.alike**2) * out[k]
    return np.asarray(shown.cutting * out)


def samples_of(spec: Spec, truth: Array, shown: Shown, rng: np.random.Generator) -> tuple[Sample, ...]:
    """Measure pieces with these true deviations."""
    heights, spacings = rng.uniform(-shown.bias + ALONE, shown.bias - ALONE, 2)
    bias = np.array([spacings if "spacing" in name else heights for name in LENGTHS])
    bias += rng.uniform(-ALONE, ALONE, len(LENGTHS))
    seen = truth + bias + rng.normal(0, shown.own, truth.shape)
    terms = {name: {name: 1.0} for name in LENGTHS}
    kinds = dict.fromkeys(LENGTHS, "length")
    for match in matches_of(spec.mechanism):
        if len(match.terms) == 2 and all(k in LENGTHS for k in match.terms):
            terms[match.name], kinds[match.name] = dict(match.terms), "pair"
    out = []
    for k, row in enumerate(seen):
        at = dict(zip(LENGTHS, row, strict=True))
        readings = {}
        for name, parts in terms.items():
            size = float(np.sqrt(len(parts)))  # of independent errors; what is common cancels in a pair
            common = shown.stated_common if kinds[name] == "length" else ALONE
            own = shown.stated_own * size
            limit = spec.tolerance.of(name) if kinds[name] == "length" else spec.tolerance.matched
            readings[name] = Reading(
                kind=kinds[name],
                name=name,
                nominal=sum(c * spec.mechanism.lengths[p] for p, c in parts.items()),
                deviation=float(sum(c * at[p] for p, c in parts.items())),
                u=float(np.hypot(common, own)),
                low=-limit,
                high=limit,
                alone=(),
                common=common,
                stated_own=own,
            )
        out.append(
            judged(
                Sample(
                    name=str(k + 1), place=k, made_at="", labels={}, photos=(f"{k + 1}.jpg",), refused=(),
                    readings=readings, causes=(), answer="", verdict=next(iter(readings.values())).verdict(
                        Rule.GUARDED
                    ), unseen=(),
                ),
                Rule.GUARDED,
            )
        )  # fmt: skip
    return tuple(out)


def masters_of(
    spec: Spec, truth: Array, which: Sequence[int], shown: Shown, rng: np.random.Generator
) -> list[Master]:
    """Measure some of the pieces by hand."""
    nominal = spec.mechanism.lengths
    return [
        Master(
            sample=str(k + 1),
            readings={
                name: HandReading(nominal[name] + d + float(rng.normal(0, shown.hand)), shown.hand)
                for name, d in zip(LENGTHS, truth[k], strict=True)
            },
        )
        for k in which
    ]


def simulate(
    spec: Spec, truth: Array, shown: Shown, rng: np.random.Generator, masters: Sequence[int] = ()
) -> Simulated:
    """Judge a lot of pieces with these true deviations (n, lengths); masters : pieces measured by hand."""
    samples = set_apart(samples_of(spec, truth, shown, rng))
    if masters:
        samples, _ = compare_with(samples, masters_of(spec, truth, masters, shown, rng), spec)
        samples = tuple(judged(s, Rule.GUARDED) for s in samples)
    statistics = statistics_of(samples, rng)
    return Simulated(
        truth=truth,
        samples=samples,
        statistics=statistics,
        decision=decide(samples, statistics),
        advice=advice(statistics, samples),
    )
