"""What marks lying on the page tell: height of the fold, place of the spine, focal length.

    python tests/benchmarks/bench_sill.py FOLDER [PREFIX ...]

FOLDER holds photos and their truth files with `sill` and `camera` in them. Heights are those of the line
where the upright sheet meets the page, against the fold's two ends in the truth (pixels, carried to the
sheet's plane); what is taken off for paper and for bridging the gully is put back. Spine: the sheet's middle
or tick against the spine, so how well it was set there.
"""

import json
import sys
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from capture.camera.adjust import solve_view  # noqa: E402
from capture.camera.page_from_sill import LYING  # noqa: E402
from capture.errors import FoldgaugeError  # noqa: E402
from capture.photo import read_photo  # noqa: E402
from capture.sheet.print_scale import PrintScale  # noqa: E402
from capture.sight.sighting import find_sheet  # noqa: E402


def figures(path: Path) -> tuple[float, float, float, float]:
    """Height error and its stated sd (mm), spine error (mm), focal length error (%)."""
    truth = json.loads(path.with_suffix(".truth.json").read_text())
    photo = read_photo(path)
    found = find_sheet(photo)
    view = solve_view(photo, found, PrintScale.from_bars(found.sheet, *truth["bars_read_mm"]))
    page = view.page
    if page is None:
        raise ValueError("no marks on the page are seen")
    fold = view.to_plane(np.array(truth["sill"]["fold_line_px"]))
    lines = [side.line_at(0.0) for side in page.sides]
    at_spine = float(np.mean([line[0, 1] for line, _ in lines])) + LYING.paper_mm
    at_spine += LYING.bridging_mm if page.source == "band" else 0.0
    height = at_spine - float(np.interp(0.0, fold[:, 0], fold[:, 1]))
    sd = float(np.sqrt(np.mean([cov[0, 0] for _, cov in lines])))
    spine = view.to_plane(np.array([truth["joints_px_at_z0"]["S"]]))[0, 0] - page.spine_mm[0]
    focal = np.exp(view.params[6]) / truth["camera"]["K"][0][0] - 1
    return height, sd, float(spine), 100 * focal


def main(folder: Path, prefixes: list[str]) -> None:
    """Print a row per photo and one per kind."""
    kinds: dict[str, list[tuple[float, float, float, float]]] = {}
    print(f"{'photo':24}{'height':>9}{'sd':>7}{'spine':>8}{'focal %':>9}")
    for path in sorted(folder.glob("*.jpg")):
        if not path.stem.startswith(tuple(prefixes)):
            continue
        try:
            row = figures(path)
        except (FoldgaugeError, ValueError) as err:
            print(f"{path.stem:24}  {err}")
            continue
        kinds.setdefault(path.stem.rsplit("_", 1)[0], []).append(row)
        print(f"{path.stem:24}{row[0]:9.3f}{row[1]:7.2f}{row[2]:8.2f}{row[3]:9.2f}")
    print("\nmedian / 95 % of the absolute errors")
    for kind, rows in kinds.items():
        off = np.abs(np.array(rows))[:, [0, 2, 3]]
        told = " ".join(
            f"{m:9.3f} / {q:5.3f}" for m, q in zip(*np.quantile(off, [0.5, 0.95], axis=0), strict=True)
        )
        print(f"{kind:16}{len(rows):4d}  height, spine, focal: {told}")


if __name__ == "__main__":
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    main(Path(sys.argv[1]), sys.argv[2:] or ["sill"])
