"""How often is the faulty length named first, a good dummy accused, a repair right, a probability true?

Everything here is simulated: the figures say how the reasoning fares when its assumptions on noise hold, not
how photographs fare. Every length is cut with sd 0.3 mm; a fault of 1-4 mm may be added; seen with joint
noise that makes a length's standard uncertainty 0.10-0.15 mm, and an unmeasured print scale (0.3 %).

1. At scale: many dummies by their lengths alone, drawn with the measurement's joint covariance.
2. The whole path from profile to first line and repair, for fewer; the first repair is then carried out on
   the true lengths and the linkage solved again.
3. Reliability of the probability of conformity: of the items told p, how many conform?
4. Time of diagnosis, repairs and page, as a ratio to decoding one photo of 12 MP in the same run.

Run: python tests/benchmarks/bench_diagnosis.py [dummies at scale, default 100000] [whole path, default 1500]
     python tests/benchmarks/bench_diagnosis.py --photos [FOLDER ...]: rendered photos with known truth
"""

import json
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.arrays import Array

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from capture.errors import FoldgaugeError  # noqa: E402
from capture.setup import Setup  # noqa: E402
from compare.cause.causes import CUTTING_SD, observed_lengths, observed_pattern, weigh  # noqa: E402
from compare.cause.causes import _unless_same as distinct  # noqa: E402
from compare.cause.faults import faults_of  # noqa: E402
from compare.design.craft.fault import Fault  # noqa: E402
from compare.design.craft.move import Effort  # noqa: E402
from compare.design.spec.spec import Spec  # noqa: E402
from compare.jobs.check_dummy import check  # noqa: E402
from compare.quantities.measured import measured_of  # noqa: E402
from compare.tell.check.check_page import report_html  # noqa: E402
from compare.tell.words.answer import answer  # noqa: E402
from compare.verdict.conformity import COVERAGE, Verdict, probability_within  # noqa: E402
from compare.verdict.findings import Findings, compare_profile  # noqa: E402
from tests.helpers.made_inspections import inspection_of  # noqa: E402
from tests.helpers.made_profiles import ASYMMETRIC, ONE_SIDED, TWO_SIDED, profile_of, spec_of  # noqa: E402

GOOD_TOLERANCE = ("length = 0.8", "length = 1.0")
MIX = (("two-sided", TWO_SIDED, 0.6), ("one-sided", ONE_SIDED, 0.2), ("asymmetric", ASYMMETRIC, 0.2))
SIZE = (1.0, 4.0)  # mm
FEET = ("foot left", "foot right")
NOISES = (0.10, 0.12, 0.14)  # standard uncertainty of a length, mm
PHOTO = Path(__file__).resolve().parents[2] / "sample_images" / "short_leg.jpg"


def same_sight(a: Fault, b: Fault, names: Sequence[str]) -> bool:
    """Whether two faults look alike in this photo (one is a multiple of the other), or bear the same name."""
    p, q = observed_pattern(a, names, FEET), observed_pattern(b, names, FEET)
    size = float(np.linalg.norm(p) * np.linalg.norm(q))
    return a.name == b.name or (size > 0 and abs(float(p @ q)) / size > 1 - 1e-12)


def candidates(spec: Spec) -> list[Fault]:
    """Faults that a photo of a flat base can show."""
    return [f for f in faults_of(spec, spine_seen=False) if f.name not in ("page left", "page right")]


@dataclass
class Scale:
    """A design as seen with one noise: names, tolerances, measurement covariance, faults."""

    names: list[str]
    limits: Array
    cov: Array
    faults: list[Fault]
    kept: list[int]
    patterns: list[Array]


def scale_of(spec: Spec, u: float) -> Scale:
    """Prepare a design for drawing many dummies of it."""
    m = measured_of(profile_of(spec, noise=u / np.sqrt(2), scale=3e-3), spec)
    names = observed_lengths(m, spec)
    faults = candidates(spec)
    patterns = [observed_pattern(f, names, FEET) for f in faults]
    limits = np.array([spec.tolerance.length * (2 if k == "feet" else 1) for k in names])
    cov = m.inputs.covariance([m.lengths[k] for k in names])
    return Scale(names, limits, cov, faults, distinct(patterns), patterns)


def cut(scale: Scale, n: int, rng: np.random.Generator) -> Array:
    """Draw the errors of hand cutting, (n, lengths)."""
    sd = np.array([CUTTING_SD * (np.sqrt(2) if k == "feet" else 1) for k in scale.names])
    return rng.normal(0, 1, (n, len(sd))) * sd


def at_scale(specs: Sequence[Spec], total: int, rng: np.random.Generator) -> None:
    """Single faults and good dummies by their lengths alone."""
    tally: Counter[str] = Counter()
    bins = np.array([0, 0.005, 0.05, 0.2, 0.35, 0.5, 0.65, 0.8, 0.95, 0.995, 1.0001])
    flat, hand = (np.zeros((len(bins) - 1, 3)) for _ in range(2))
    jobs = [(s, w, u) for s, (_, _, w) in zip(specs, MIX, strict=True) for u in NOISES]
    for spec, share, u in jobs:
        scale = scale_of(spec, u)
        n = round(total * share / len(NOISES))
        s = scale.cov + np.diag([CUTTING_SD**2 * (2 if k == "feet" else 1) for k in scale.names])
        patterns = [scale.patterns[i] for i in scale.kept]
        weights = [scale.faults[i].weight for i in scale.kept]
        which = rng.integers(len(scale.faults), size=n)
        size = rng.uniform(*SIZE, n) * rng.choice([-1.0, 1.0], n)
        true = cut(scale, n, rng) + np.array(scale.patterns)[which] * size[:, None]
        seen = true + rng.multivariate_normal(np.zeros(len(scale.names)), scale.cov, n)
        for part in np.array_split(np.arange(n), max(n // 2000, 1)):
            _judge_part(scale, seen[part], true[part], which[part], s, patterns, weights, tally)
        good = cut(scale, n, rng)
        told = good + rng.multivariate_normal(np.zeros(len(scale.names)), scale.cov, n)
        for part in np.array_split(np.arange(n), max(n // 2000, 1)):
            p = weigh(told[part], s, patterns, weights).probability
            tally["good"] += len(part)
            tally["accused"] += int(np.count_nonzero(p.argmax(axis=1) > 0))
        _reliability(scale, true, seen, bins, hand)
        even = rng.uniform(-3, 3, true.shape)
        _reliability(scale, even, even + (seen - true), bins, flat)
    n = tally["n"]
    print(f"at scale: {n} dummies with one fault of {SIZE[0]:g}-{SIZE[1]:g} mm, {tally['good']} good ones")
    first, two = (100 * tally[k] / n for k in ("first", "two"))
    first, two = (100 * tally[k] / n for k in ("first", "two"))
    print(f"  right fault first {first:.2f} %, among the first two {two:.2f} %")
    print(f"  good dummies accused {100 * tally['accused'] / tally['good']:.2f} %")
    print(f"  lengths beyond tolerance + U: {tally['beyond']}, of these called conforming {tally['missed']}")
    print(
        "  dummies with a length beyond tolerance + U whose lengths all were called conforming: "
        f"{tally['all missed']} of {tally['with beyond']}"
    )
    for title, table in (("true deviations spread evenly", flat), ("dummies cut by hand, one fault", hand)):
        print(f"reliability of the probability of conformity, {title}:")
        print("  told p       n items    mean p   conform")
        for low, high, (count, told_p, inside) in zip(bins[:-1], bins[1:], table, strict=True):
            if count:
                shares = f"{told_p / count:8.3f}  {inside / count:8.3f}"
                print(f"  {low:.3f}-{min(high, 1):.3f} {int(count):9d}  {shares}")


def _judge_part(
    scale: Scale,
    seen: Array,
    true: Array,
    which: NDArray[np.int64],
    s: Array,
    patterns: list[Array],
    weights: list[float],
    tally: Counter[str],
) -> None:
    """Rank the faults of some dummies and compare with what was done to them."""
    w = weigh(seen, s, patterns, weights)
    each = np.stack(
        [w.probability[:, [i in h for h in w.hypotheses]].sum(axis=1) for i in range(len(patterns))], axis=1
    )
    order = np.argsort(-each, axis=1)
    alike = np.array(
        [[same_sight(scale.faults[k], f, scale.names) for k in scale.kept] for f in scale.faults]
    )
    names = [scale.faults[k].name for k in scale.kept]
    for row, truth in zip(order, which, strict=True):
        distinct_names = list(dict.fromkeys(names[i] for i in row))[:2]
        right = {names[i] for i in range(len(names)) if alike[truth, i]}
        tally["first"] += distinct_names[0] in right
        tally["two"] += any(k in right for k in distinct_names)
    band = COVERAGE * np.sqrt(np.diag(scale.cov))
    beyond = np.abs(true) > scale.limits + band
    called = np.abs(seen) <= scale.limits - band
    tally["n"] += len(seen)
    tally["beyond"] += int(np.count_nonzero(beyond))
    tally["missed"] += int(np.count_nonzero(beyond & called))
    tally["with beyond"] += int(np.count_nonzero(beyond.any(axis=1)))
    tally["all missed"] += int(np.count_nonzero(beyond.any(axis=1) & called.all(axis=1)))


def _reliability(scale: Scale, true: Array, seen: Array, bins: Array, table: Array) -> None:
    """Add items to a table: how many, sum of the probabilities told, how many conform."""
    u = np.sqrt(np.diag(scale.cov))
    phi = np.vectorize(lambda y, sd, lim: probability_within(y, sd, -lim, lim))
    few = slice(None, None, max(len(true) // 2000, 1))
    p = phi(seen[few], u, scale.limits)
    inside = np.abs(true[few]) <= scale.limits
    at = np.clip(np.digitize(p, bins) - 1, 0, len(bins) - 2)
    for k in range(len(bins) - 1):
        here = at == k
        table[k] += (np.count_nonzero(here), p[here].sum(), np.count_nonzero(inside[here]))


def simulated(spec: Spec, fault: Fault | None, rng: np.random.Generator) -> tuple[Findings, dict[str, float]]:
    """Findings on one simulated dummy, and its true deviations."""
    size = float(rng.uniform(*SIZE) * rng.choice([-1, 1])) if fault else 0.0
    true = {k: float(rng.normal(0, CUTTING_SD)) for k in spec.lengths()}
    if fault:
        for k, c in fault.pattern.items():
            true[k] += size * c
    u = rng.uniform(0.10, 0.15)
    profile = profile_of(spec, true, noise=u / np.sqrt(2), scale=3e-3, rng=rng)
    return compare_profile(profile, spec), true


def repaired(findings: Findings, true: dict[str, float]) -> tuple[bool, bool] | None:
    """Whether the first repair, done on the true lengths, brings leans and sums inside; None if none."""
    if not findings.remedies or not findings.remedies[0].moves:
        return None
    best = findings.remedies[0]
    if best.effort is Effort.REBUILD or not (best.changes_mm or best.sets_mm):
        return None
    spec = findings.spec
    after = best.applied({k: v + true[k] for k, v in spec.lengths().items()})
    lean = spec.mechanism.solve(after, np.pi).lean
    level = all(abs(np.degrees(float(v))) <= spec.tolerance.level_deg for v in lean.values())
    loops = [x for x in spec.mechanism.loops if x.name != "feet"]  # not seen on a flat base
    shut = all(abs(x.error(after)) <= 2 * spec.tolerance.matched for x in loops)
    return level, shut


def whole_path(specs: Sequence[Spec], total: int, rng: np.random.Generator) -> None:
    """From profile to first line and repair."""
    rows: dict[str, Counter[str]] = {}
    mistaken: Counter[tuple[str, str]] = Counter()
    for _ in range(total):
        spec = specs[int(rng.choice(3, p=[w for _, _, w in MIX]))]
        faults = candidates(spec)
        fault = faults[int(rng.integers(len(faults)))]
        findings, true = simulated(spec, fault, rng)
        row = rows.setdefault(fault.name.replace(" left", "").replace(" right", ""), Counter())
        row["n"] += 1
        row["good"] += findings.verdict is Verdict.CONFORMS
        row["fails"] += findings.verdict is Verdict.FAILS
        names = list(findings.measured.lengths)
        every = [*findings.causes, *findings.diagnosis.causes]  # as the report shows them
        order = list(dict.fromkeys(c.fault.name for c in every))
        ranked = [next(c for c in every if c.fault.name == name) for name in order]
        first = bool(ranked) and same_sight(ranked[0].fault, fault, names)
        row["first"] += first
        row["named"] += any(same_sight(c.fault, fault, names) for c in ranked[:2])
        if not first and ranked:
            mistaken[fault.name, ranked[0].fault.name] += 1
        done = repaired(findings, true)
        if done is not None:
            row["repairs"] += 1
            row["cured"] += all(done)
    columns = ("first", "in two", "fails", "called good", "repairs", "cured")
    head = f"{'n':>6s} " + " ".join(f"{c:>{w}s}" for c, w in zip(columns, (7, 7, 7, 12, 8, 7), strict=True))
    print(f"whole path\n{'fault (1-4 mm)':24s} {head}")
    everything: Counter[str] = Counter()
    for name, row in sorted(rows.items()):
        everything += row
        _print_row(name, row)
    _print_row("all", everything)
    told = "; ".join(f"{a} taken for {b}: {n}" for (a, b), n in mistaken.most_common(6))
    print(f"most frequent mistakes: {told}")
    _good_dummies(specs, max(total // 4, 100), rng)


def _print_row(name: str, row: Counter[str]) -> None:
    n = row["n"]
    shares = " ".join(f"{100 * row[k] / n:6.1f}%" for k in ("first", "named", "fails"))
    cured = f"{100 * row['cured'] / row['repairs']:6.1f}%" if row["repairs"] else "      -"
    print(f"{name:24s} {n:6d} {shares} {100 * row['good'] / n:11.2f}% {row['repairs']:8d} {cured}")


def _good_dummies(specs: Sequence[Spec], total: int, rng: np.random.Generator) -> None:
    """Dummies without a fault: how they are judged, and whether anyone is accused."""
    tally: Counter[str] = Counter()
    for _ in range(total):
        spec = specs[int(rng.choice(3, p=[w for _, _, w in MIX]))]
        findings, true = simulated(spec, None, rng)
        exact = {i.name: i for i in compare_profile(profile_of(spec, true, noise=1e-6), spec).items}
        tally[findings.verdict.value] += 1
        tally["named"] += bool(findings.causes)
        for item in findings.items:
            sound = item.low <= exact[item.name].deviation <= item.high
            tally["sound"] += sound
            tally["sound failed"] += sound and item.verdict is Verdict.FAILS
            tally["unsound"] += not sound
            tally["unsound passed"] += not sound and item.verdict is Verdict.CONFORMS
    print(f"good dummies (hand-cut sd {CUTTING_SD} mm, no fault): {total}")
    print("  verdicts: " + ", ".join(f"{v.value} {100 * tally[v.value] / total:.1f}%" for v in Verdict))
    print(f"  a fault named: {100 * tally['named'] / total:.2f}%")
    print(f"  items truly within limits: {tally['sound']}, failed {tally['sound failed']}")
    print(f"  items truly outside: {tally['unsound']}, passed {tally['unsound passed']}")


def speed(spec: Spec, rng: np.random.Generator) -> None:
    """Time of diagnosis, repairs and page beside decoding a photo."""
    raw = np.frombuffer(PHOTO.read_bytes(), dtype=np.uint8)

    def best_of(job: object, times: int = 7) -> float:
        assert callable(job)
        out = []
        for _ in range(times):
            start = time.perf_counter()
            job()
            out.append(time.perf_counter() - start)
        return min(out)

    profile = profile_of(spec, {"leg right": -1.9}, noise=0.08, scale=3e-3, rng=rng)
    decode = best_of(lambda: cv2.imdecode(raw, cv2.IMREAD_COLOR))
    verdict = best_of(lambda: compare_profile(profile, spec))
    page = best_of(lambda: report_html(inspection_of(profile, spec))) - verdict
    print("time as a ratio to decoding a 12 MP photo (best of 7, same run):")
    ratios = " + ".join(f"{t / decode:.2f}" for t in (verdict, page))
    print(f"  diagnosis and repairs, page: {ratios} = {(verdict + page) / decode:.2f}")
    print(f"  (decoding took {decode:.3f} s here, so together {verdict + page:.2f} s)")


def photos(folders: Sequence[Path]) -> None:
    """The same questions put to rendered photos with known truth (NAME.jpg, NAME.truth.json, its spec)."""
    tally: Counter[str] = Counter()
    for path in sorted(p for folder in folders for p in folder.glob("*.truth.json")):
        truth = json.loads(path.read_text())
        photo = path.with_name(path.name.replace(".truth.json", ".jpg"))
        spec_path = path.parent / truth["spec"]
        if not photo.is_file() or truth["use"] not in ("arch", "backdrop"):
            continue
        try:
            result = check(photo, spec_path, Setup(bars_mm=truth.get("bars_read_mm"), use=truth["use"]))
        except FoldgaugeError as err:
            tally["refused"] += 1
            print(f"  {photo.name}: refused: {err}")
            continue
        findings = result.findings
        every = [*findings.causes, *findings.diagnosis.causes]
        order = list(dict.fromkeys(c.fault.name for c in every))
        ranked = [next(c.fault for c in every if c.fault.name == name) for name in order]
        nominal = findings.spec.mechanism.lengths
        done = {f["length"] for f in truth["faults"]}
        done |= {"feet"} if done & set(FEET) else set()
        for item in findings.lengths:
            true = truth["lengths_mm"].get(item.name)
            if true is not None and item.name in nominal:
                beyond = abs(true - nominal[item.name]) > item.high + item.expanded
                tally["beyond"] += beyond
                tally["missed"] += beyond and item.verdict is Verdict.CONFORMS
        if not done:
            tally["good"] += 1
            tally["accused"] += bool(findings.causes)
            if findings.causes:
                print(f"  {photo.name}: good, but told: {answer(result.findings)}")
            continue
        tally["faulty"] += 1
        hits = [
            bool(({"feet"} if set(f.pattern) <= set(FEET) else set(f.pattern)) & done) for f in ranked[:2]
        ]
        tally["first"] += hits[:1] == [True]
        tally["two"] += any(hits)
        tally["fails"] += findings.verdict is Verdict.FAILS
        if hits[:1] != [True]:
            print(f"  {photo.name}: {sorted(done)}; told: {answer(result.findings)}")
    share = {k: 100 * tally[k] / max(tally["faulty"], 1) for k in ("first", "two", "fails")}
    print(f"photos: {tally['faulty']} faulty, {tally['good']} good, {tally['refused']} refused")
    print(f"  a fault put in named first {share['first']:.0f} %, among the first two {share['two']:.0f} %")
    print(f"  told not to conform {share['fails']:.0f} %; good ones accused {tally['accused']}")
    print(f"  lengths beyond tolerance + U: {tally['beyond']}, called conforming {tally['missed']}")


def main() -> None:
    """Print all tables, or with --photos only those of the photos in the folders named."""
    if sys.argv[1:2] == ["--photos"]:
        photos([Path(p) for p in sys.argv[2:]] or [PHOTO.parent])
        return
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    few = int(sys.argv[2]) if len(sys.argv) > 2 else 1_500
    rng = np.random.default_rng(20)
    with tempfile.TemporaryDirectory() as folder:
        specs = [
            spec_of(text.replace(*GOOD_TOLERANCE), Path(folder), f"{name}.toml") for name, text, _ in MIX
        ]
    at_scale(specs, many, rng)
    whole_path(specs, few, rng)
    speed(specs[0], rng)


if __name__ == "__main__":
    main()
