"""What the apron buys: the same photos checked with it and, as if it were not recognised, without it.

    python tests/benchmarks/bench_apron.py FOLDER

FOLDER holds rendered photos with an apron, their specs and truth files (`render.py --random soft --apron`).
Prints, per photo, the error of the page line and the spine the apron gives (against the strip's own place,
mounting errors taken out), then errors of the lengths both ways, and what is determined at all.
"""

import json
import sys
from pathlib import Path
from unittest.mock import patch

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from compare import Setup, check  # noqa: E402


def errors(path: Path, truth: dict) -> tuple[dict[str, float], float, object]:
    """Errors of all lengths that are determined, mean U, and the view."""
    result = check(path, path.with_suffix(".toml"), Setup(bars_mm=truth["bars_read_mm"]))
    true = truth["lengths_mm"]
    seen = [i for i in result.findings.lengths if i.name in true and np.isfinite(i.measured)]
    off = {i.name: i.measured - true[i.name] for i in seen}
    return off, float(np.mean([i.expanded for i in seen])), result.view


def main(folder: Path) -> None:
    """Print the table of a folder."""
    print(f"{'photo':30}{'spine x':>9}{'lengths':>12}{'rms':>7}{'mean U':>8}{'legs rms':>10}{'feet rms':>10}")
    for path in sorted(folder.glob("*.jpg")):
        truth = json.loads(path.with_suffix(".truth.json").read_text())
        for seen in (True, False):
            if seen:
                off, wide, view = errors(path, truth)
            else:
                with patch("capture.sight.sighting.find_apron", lambda grey, tags: ()):
                    off, wide, view = errors(path, truth)
            spine = "-"
            if view.apron is not None:
                hung = truth["joints_mm"]["spine"][0] + truth["apron"]["shift_mm"][0]
                spine = f"{view.apron.spine_mm[0] - hung:.3f}"
            groups = [
                [v for name, v in off.items() if name.startswith(start)] for start in ("", "leg", "foot")
            ]
            rms = [f"{np.sqrt(np.mean(np.square(g))):.2f}" if g else "none" for g in groups]
            label = path.stem if seen else "  without"
            print(f"{label:30}{spine:>9}{len(off):12d}{rms[0]:>7}{wide:8.2f}{rms[1]:>10}{rms[2]:>10}")


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    main(Path(sys.argv[1]))
