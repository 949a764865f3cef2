"""How often is the faulty length named first, and how often is a good dummy accused?

Simulated dummies: every length cut with sd 0.3 mm, one fault of 1.5-4 mm, seen with independent joint noise
that makes a length's standard uncertainty 0.10-0.15 mm, plus an unmeasured print scale (0.3 %). The whole
path from profile to first line is run for each. Everything here is simulated: the figures say how the
reasoning fares when its assumptions on noise hold, not how photographs fare.

Run: python tests/benchmarks/bench_diagnosis.py [number of faulty dummies, default 10000]
"""

import sys
import tempfile
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from compare_profiles import ASYMMETRIC, ONE_SIDED, TWO_SIDED, profile_of, spec_of  # noqa: E402

from compare.causes import CUTTING_SD, observed_pattern  # noqa: E402
from compare.conformity import Verdict  # noqa: E402
from compare.design.spec import Spec  # noqa: E402
from compare.faults import Fault, faults_of  # noqa: E402
from compare.findings import Findings, compare_profile  # noqa: E402

FEET = ("foot left", "foot right")
GOOD_TOLERANCE = ("length = 0.8", "length = 1.0")


def simulated(spec: Spec, fault: Fault | None, rng: np.random.Generator) -> tuple[Findings, dict[str, float]]:
    """Findings on one simulated dummy, and its true deviations."""
    size = float(rng.uniform(1.5, 4.0) * rng.choice([-1, 1])) if fault else 0.0
    true = {k: float(rng.normal(0, CUTTING_SD)) for k in spec.lengths()}
    if fault:
        for k, c in fault.pattern.items():
            true[k] += size * c
    u = rng.uniform(0.10, 0.15)
    profile = profile_of(spec, true, noise=u / np.sqrt(2), scale=3e-3, rng=rng)
    return compare_profile(profile, spec), true


def same_sight(a: Fault, b: Fault, names: list[str]) -> bool:
    """Whether two faults look alike in this photo (one is a multiple of the other), or bear the same name."""
    p, q = observed_pattern(a, names, FEET), observed_pattern(b, names, FEET)
    cosine = float(p @ q) / float(np.linalg.norm(p) * np.linalg.norm(q))
    return a.name == b.name or abs(cosine) > 1 - 1e-12


def main() -> None:
    """Print the table."""
    total = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    rng = np.random.default_rng(20)
    with tempfile.TemporaryDirectory() as folder:
        specs = [
            spec_of(text.replace(*GOOD_TOLERANCE), Path(folder), f"{i}.toml")
            for i, text in enumerate((TWO_SIDED, ONE_SIDED, ASYMMETRIC))
        ]
    rows: dict[str, Counter[str]] = {}
    mistaken: Counter[tuple[str, str]] = Counter()
    for _ in range(total):
        spec = specs[int(rng.choice(3, p=[0.6, 0.2, 0.2]))]
        faults = [f for f in faults_of(spec.mechanism, spine_seen=False) if not f.name.startswith("page l")]
        faults = [f for f in faults if not f.name.startswith("page r")]
        fault = faults[int(rng.integers(len(faults)))]
        findings, _ = simulated(spec, fault, rng)
        row = rows.setdefault(fault.name.replace(" left", "").replace(" right", ""), Counter())
        row["n"] += 1
        row["good"] += findings.verdict is Verdict.CONFORMS
        row["fails"] += findings.verdict is Verdict.FAILS
        names = list(findings.measured.lengths)
        ranked = findings.causes or findings.diagnosis.causes
        first = bool(ranked) and same_sight(ranked[0].fault, fault, names)
        row["first"] += first
        row["named"] += any(same_sight(c.fault, fault, names) for c in ranked[:2])
        if not first and ranked:
            mistaken[fault.name, ranked[0].fault.name] += 1
    print(
        f"{'fault (1.5-4 mm)':24s} {'n':>6s} {'first':>7s} {'in two':>7s} {'fails':>7s} {'called good':>12s}"
    )
    everything: Counter[str] = Counter()
    for name, row in sorted(rows.items()):
        everything += row
        _print_row(name, row)
    _print_row("all", everything)
    print(
        "most frequent mistakes:",
        "; ".join(f"{a} taken for {b}: {n}" for (a, b), n in mistaken.most_common(6)),
    )
    _good_dummies(specs, max(total // 4, 100), rng)


def _print_row(name: str, row: Counter[str]) -> None:
    n = row["n"]
    shares = [f"{100 * row[k] / n:6.1f}%" for k in ("first", "named", "fails")]
    print(f"{name:24s} {n:6d} {' '.join(shares)} {100 * row['good'] / n:11.2f}%")


def _good_dummies(specs: list[Spec], total: int, rng: np.random.Generator) -> None:
    """Dummies without a fault: how they are judged, and whether anyone is accused."""
    tally: Counter[str] = Counter()
    for _ in range(total):
        spec = specs[int(rng.choice(3, p=[0.6, 0.2, 0.2]))]
        findings, true = simulated(spec, None, rng)
        exact = {i.name: i for i in compare_profile(profile_of(spec, true, noise=1e-6), spec).items}
        tally[findings.verdict.value] += 1
        tally["named"] += bool(findings.diagnosis.named)
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


if __name__ == "__main__":
    main()
