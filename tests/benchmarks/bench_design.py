"""Speed of the design room beside general-purpose packages: one table, one run.

    python tests/benchmarks/bench_design.py [SPEC]

Prints the time and memory of 1e6 Monte Carlo samples of a design, the time of a 181-angle sweep, and the same
half spread at 136 openings by a linkage package, by scipy's least squares and by this project.
"""

import resource
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from compare.design.load_spec import load_spec  # noqa: E402
from compare.design.study.motion import move  # noqa: E402
from compare.design.study.tolerance import draws, results_of, spreads_of  # noqa: E402
from tests.helpers.linkage_by_newton import NAMES, by_least_squares, by_linkage_package  # noqa: E402

SAMPLES = 1_000_000
REPEATS = 7


def best(run: Callable[[], Any], repeats: int = REPEATS) -> float:
    """Shortest of several runs, seconds."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        run()
        times.append(time.perf_counter() - start)
    return min(times)


def main() -> None:
    path = Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / "sample_images" / "good_arch.toml"
    spec = load_spec(path)
    m = spec.mechanism
    phi = np.radians(np.linspace(180.0, 0.0, 181))
    print(f"{path.name}: {len(m.lengths)} lengths, {len(m.panels)} panels")

    def monte_carlo() -> float:
        rng = np.random.default_rng(1)
        level = 0
        for lengths in draws(m, spreads_of(spec, 0.3), SAMPLES, rng):
            values = results_of(spec, lengths, float(np.radians(spec.base.opening_deg)))
            level += int(np.sum(np.abs(values["lean right"]) < spec.tolerance.level_deg))
        return level / SAMPLES

    start = time.perf_counter()
    share = monte_carlo()
    took = time.perf_counter() - start
    used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(f"1e6 samples (all leans, clearances, sums): {took:.2f} s, {used:.2f} GB, level {share:.4f}")
    print(f"sweep of 181 openings: solving {1e3 * best(lambda: m.solve({}, phi)):.2f} ms, ", end="")
    print(f"with reach, contact and crossings {1e3 * best(lambda: move(spec)):.1f} ms")

    degrees = np.linspace(175.0, 40.0, 136)
    n = dict(m.lengths)
    print("\nthe right half at 136 openings:")
    print(f"{'by':<34}{'time':>12}{'largest difference':>22}")
    ours = m.solve(n, np.radians(degrees)).joints
    for name, run in (("pylinkage", by_linkage_package), ("scipy least_squares", by_least_squares)):
        try:
            found = run(n, degrees)
        except ImportError:
            print(f"{name:<34}{'not installed':>12}")
            continue
        off = max(float(np.abs(found[k] - ours[k]).max()) for k in NAMES)
        took = best(lambda run=run: run(n, degrees), 3)
        print(f"{name:<34}{1e3 * took:>9.2f} ms{off:>19.1e} mm")
    took = best(lambda: m.solve(n, np.radians(degrees)))
    print(f"{'this project (both halves)':<34}{1e3 * took:>9.2f} ms")


if __name__ == "__main__":
    main()
