"""Does the first repair hold? Single faults, repaired as told, solved again with the true lengths.

Everything here is simulated, no photographs: a dummy of a design is cut with some scatter, one fault is put
in, a profile is seen with joint noise that makes a length's standard uncertainty 0.10-0.15 mm and an unknown
print scale (0.3 %), and the first repair is carried out on the true lengths exactly as it is told (figures
rounded to a tenth of a millimetre). Then every half must be level, every sum and matched pair within what the
design allows, and nothing nearer to a fore edge than it asks for. What is to be made anew is made without
error: what is judged is the advice.

Columns: dummies told not to conform; the first plan is headed as the thing to do (at least 50 % likely); of
these level, all sums, clear, all three; all matched pairs too; binds no earlier than hand-cut dummies usually
do; whole stages or dummies to build anew; "leave it"; steps of the plan, what it said of itself, on average.

Run: python tests/benchmarks/bench_repairs.py [--scatter MM] [--faults N] [DESIGN ...]
"""

import argparse
import sys
import tempfile
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from compare.cause.faults import faults_of  # noqa: E402
from compare.cure.plans import Remedy  # noqa: E402
from compare.design.craft.fault import Fault  # noqa: E402
from compare.design.craft.move import Move  # noqa: E402
from compare.design.load_spec import load_spec  # noqa: E402
from compare.design.spec.spec import Spec  # noqa: E402
from compare.design.study.contact import binding_opening  # noqa: E402
from compare.design.study.usual_binding import usual_of  # noqa: E402
from compare.quantities.measured import measured_of  # noqa: E402
from compare.verdict.conformity import Verdict  # noqa: E402
from compare.verdict.findings import compare_profile  # noqa: E402
from compare.verdict.matched_pairs import matches_of  # noqa: E402
from compare.verdict.shut_reach import clearance_limits, closed_chains  # noqa: E402
from compare.vocabulary import Kind, named  # noqa: E402
from measure.sides import SIDES  # noqa: E402
from tests.helpers.made_profiles import ASYMMETRIC, ONE_SIDED, TWO_SIDED, profile_of, spec_of  # noqa: E402

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
SIZE = (1.0, 4.0)  # mm
COLUMNS = ("level", "sums", "clear", "all", "pairs", "shuts")
NARROW = {"left = 90": "left = 85", "right = 90": "right = 85"}  # a plane that leaves room when shut


def designs() -> dict[str, Spec]:
    """Return the designs by name."""
    two = TWO_SIDED
    for a, b in NARROW.items():
        two = two.replace(a, b)
    with tempfile.TemporaryDirectory() as folder:
        out = {
            name: spec_of(text, Path(folder))
            for name, text in (("two-sided", two), ("one-sided", ONE_SIDED), ("asymmetric", ASYMMETRIC))
        }
    out |= {
        name: load_spec(SAMPLES / f"{file}.toml")
        for name, file in (("several legs", "many_legs"), ("stages", "stages"), ("v-fold", "vfold"))
    }
    return out


def told(move: Move) -> Move:
    """Return a move with the figures that are told."""
    return replace(
        move,
        changes_mm={k: round(v, 1) for k, v in move.changes_mm.items()},
        sets_mm={k: round(v, 1) for k, v in move.sets_mm.items()},
    )


def kept(spec: Spec, n: dict[str, float]) -> dict[str, bool]:
    """Return which rules a dummy with these lengths keeps, at the design's opening."""
    m, allowed = spec.mechanism, spec.tolerance
    phi = spec.opening
    lean, design = m.solve(n, phi).lean, m.solve({}, phi).lean
    off = [np.degrees(float(lean[h]) - float(design[h])) for h in lean]
    out = {"level": all(abs(x) <= allowed.level_deg for x in off)}
    for kind in ("sums", "pairs"):
        good = True
        for match in matches_of(m):
            if (len(match.terms) > 2) == (kind == "sums"):
                error = sum((n[k] - m.lengths[k]) * c for k, c in match.terms.items())
                good = good and abs(error) <= allowed.matched * len(match.terms) / 2
        out[kind] = good
    out["clear"] = all(
        n[named(Kind.PAGE, s)] - max(float(r.total(n)) for r in closed_chains(spec, s)) >= allowed.clearance
        for s in SIDES
        if clearance_limits(spec, s) is not None
    )
    usual = usual_of(m, phi)
    out["shuts"] = not np.isfinite(usual) or binding_opening(m, dict(n), phi) <= usual
    return out


def mended(spec: Spec, fault: Fault, scatter: float, spine: bool, rng: np.random.Generator) -> Counter[str]:
    """Put one fault in, repair it and count what came of it."""
    row: Counter[str] = Counter(n=1)
    size = float(rng.uniform(*SIZE) * rng.choice([-1, 1]))
    cut = [k for k in spec.lengths() if k not in spec.mechanism.degrees]
    true = dict.fromkeys(spec.lengths(), 0.0) | {k: float(rng.normal(0, scatter)) for k in cut}
    for k, c in fault.pattern.items():
        true[k] += size * c
    u = rng.uniform(0.10, 0.15)
    findings = compare_profile(
        profile_of(spec, true, spine=spine, noise=u / np.sqrt(2), scale=3e-3, rng=rng), spec
    )
    if findings.verdict is not Verdict.FAILS:
        return row
    row["fails"] += 1
    if not findings.remedies or findings.remedies[0].probability < 0.5:
        return row
    best: Remedy = findings.remedies[0]
    after = replace(best, moves=tuple(told(m) for m in best.moves)).applied(
        {k: v + true[k] for k, v in spec.lengths().items()}
    )
    good = kept(spec, after)
    row["headed"] += 1
    for k, v in good.items():
        row[k] += v
    row["all"] += good["level"] and good["sums"] and good["clear"]
    row["steps"] += len(best.moves)
    row["anew"] += any(len(m.sets_mm) > 4 for m in best.moves)
    row["said"] += round(100 * best.probability)
    row["left"] += not best.moves
    return row


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--scatter", type=float, default=0.1, help="of all lengths (sd, mm)")
    parser.add_argument("--faults", type=int, default=1000, help="of each design, spine seen and unseen")
    parser.add_argument("design", nargs="*", default=list(designs()))
    given = parser.parse_args()
    print(f"single faults of {SIZE[0]:g}-{SIZE[1]:g} mm, all lengths with a scatter of {given.scatter:g} mm")
    head = " ".join(f"{c:>6s}" for c in (*COLUMNS, "anew", "left", "steps", "said"))
    print(f"{'design':13s} {'spine':6s} {'n':>5s} {'fails':>6s} {'headed':>7s} {head}")
    known = designs()
    for name in given.design:
        spec = known[name]
        for spine in (True, False):
            rng = np.random.default_rng(20)
            names = measured_of(profile_of(spec, spine=spine), spec).working
            faults = [f for f in faults_of(spec, spine_seen=spine) if set(f.pattern) <= set(names)]
            row: Counter[str] = Counter()
            for _ in range(given.faults):
                row += mended(spec, faults[int(rng.integers(len(faults)))], given.scatter, spine, rng)
            n = max(row["headed"], 1)
            shares = " ".join(f"{100 * row[c] / n:5.1f}%" for c in (*COLUMNS, "anew", "left"))
            rest = f"{row['steps'] / n:6.2f} {row['said'] / n:5.1f}%"
            seen = "seen" if spine else "unseen"
            print(f"{name:13s} {seen:6s} {row['n']:5d} {row['fails']:6d} {row['headed']:7d} {shares} {rest}")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
