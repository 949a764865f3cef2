"""Print scale: bars read, remembered, contradicted by the photo; stretched prints found out."""

from pathlib import Path

import numpy as np
import pytest

from capture.advice import Weak, advise
from capture.camera.adjust import solve_view
from capture.camera.view_checks import stretch
from capture.errors import Option, SetupError, SheetError
from capture.setup import Setup
from capture.sheet.marker_sheet import SHEETS
from capture.sheet.print_scale import PrintScale
from capture.sheet.printer_file import read_printer, remember
from compare.tell.words.option_names import COMMAND_LINE
from compare.tell.words.photos.photo_advice_words import photo_advice
from compare.units import MM
from tests.capture.test_capture_adjust import blank, drawn_camera, sighting_of
from tests.capture.test_capture_scene import camera, true_saddles

A4 = SHEETS["a4"]


def scale_by(path: Path, paper: str = "a4") -> PrintScale | None:
    return Setup(printer=read_printer(path)).print_scale(SHEETS[paper])


def test_bars_are_remembered_per_paper(tmp_path: Path) -> None:
    path = tmp_path / "office.toml"
    first = Setup(bars_mm=(150.6, 99.7, 0.05)).print_scale(A4)
    remember(path, ["a4"], (150.6, 99.7, 0.05))
    remember(path, ["a3"], (149.7, 100.2))
    again = scale_by(path)
    assert first is not None and again == first and again.across == pytest.approx(1.004)
    assert again.across_sd == pytest.approx(0.05 / 150)
    assert read_printer(path).bars == {"a4": (150.6, 99.7, 0.05), "a3": (149.7, 100.2)}
    given = Setup(bars_mm=(150.0, 100.0), printer=read_printer(path))
    assert given.print_scale(A4) != first  # bars that are given count before the file's
    remember(path, ["a4"], (150.0, 100.0))  # newer bars replace them
    assert read_printer(path).bars["a4"] == (150.0, 100.0) and len(read_printer(path).bars) == 2
    assert Setup().print_scale(A4) is None


def test_reading_never_writes(tmp_path: Path) -> None:
    path = tmp_path / "office.toml"
    remember(path, ["a4"], (150.6, 99.7))
    before = (path.read_bytes(), path.stat().st_mtime_ns, sorted(tmp_path.iterdir()))
    with pytest.raises(SheetError, match="check bar"):
        Setup(bars_mm=(150.3, 102.5 * 1.5), printer=read_printer(path)).print_scale(A4)
    Setup(bars_mm=(150.3, 99.9), printer=read_printer(path)).print_scale(A4)
    assert (path.read_bytes(), path.stat().st_mtime_ns, sorted(tmp_path.iterdir())) == before


def test_a_printer_file_that_is_none_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "office.toml"
    with pytest.raises(SheetError, match="no printer file at .*give the check bars once") as caught:
        read_printer(path)
    assert caught.value.speaks_of(Option.BARS) and "--" not in str(caught.value)
    assert "give --bars once with --printer to make it" in caught.value.told(COMMAND_LINE)
    deep = ".".join(["a"] * 5000)
    huge = "9" * 5000
    for text in (
        "title = 'crane'", "a4 = [150.0]", "a4 = [[", "a4 = ['x', 2]", "a4 = [true, true]",
        f"a4 = [{huge}, 100]", f"{deep} = 1", "a4 = [1e999, 100]",
    ):  # fmt: skip
        path.write_text(text)
        with pytest.raises(SheetError, match="office.toml is not a printer file"):
            read_printer(path)
        with pytest.raises(SheetError, match="office.toml is not a printer file"):
            remember(path, ["a4"], (150.0, 100.0))
        assert path.read_text() == text  # somebody else's file is left alone
    path.write_text("a3 = [150, 100]")
    with pytest.raises(SheetError, match="office.toml knows no bars of the a4 sheet"):
        scale_by(path)
    with pytest.raises(SheetError, match="cannot write"):
        remember(tmp_path / "none" / "p.toml", ["a4"], (150.0, 100.0))
    with pytest.raises(SheetError, match="cannot read"):
        read_printer(tmp_path)


def test_bars_and_standoffs_that_cannot_be_are_refused_at_once() -> None:
    for bars in ((150.0,), (150.0, float("nan")), (150.0, 100.0, 0.1, 0.1)):
        with pytest.raises(SetupError, match="the check bars: two lengths are wanted"):
            Setup(bars_mm=bars)
    with pytest.raises(SetupError, match="the standoff must be 0 mm or more, got -3"):
        Setup(standoff_mm=-3.0)


@pytest.mark.parametrize(
    ("across", "up", "told"),
    [
        (
            141.8,
            94.6,
            r"both check bars are 5\.5 % too short: .*'fit to page' or another paper size; .* a4 paper",
        ),
        (212.1, 141.4, r"both check bars are 41\.4 % too long: .*enlarged, as for another paper size"),
        (
            5.91,
            3.94,
            r"check bar across: 5\.91 mm read where 150 mm is printed; measure from tick to tick in mm",
        ),
        (150.0, 94.0, r"check bar up: 94 mm read where 100 mm is printed"),
    ],
)
def test_far_off_bars_say_what_was_done(across: float, up: float, told: str) -> None:
    with pytest.raises(SheetError, match=told):
        PrintScale.from_bars(A4, across, up)


def test_the_photo_sees_how_a_print_is_stretched() -> None:
    """The ratio of the two print scales shows in a single photo; their mean does not."""
    rng = np.random.default_rng(21)
    z, sds = [], []
    for _ in range(60):
        truth = drawn_camera(rng)
        printed = A4.saddles * np.exp(truth.params[11:13]) + rng.normal(0, 0.01, (70, 2))
        px = truth.project(np.column_stack([printed, np.zeros(70)])) + rng.normal(0, 0.05, (70, 2))
        view = solve_view(blank(), sighting_of(px, 0.05))
        ratio, sd = stretch(view)
        sds.append(sd)
        z.append((ratio - np.expm1(truth.params[11] - truth.params[12])) / sd)
        assert np.sqrt(view.cov[11, 11]) > 2.5e-3
    assert np.median(sds) < 1.2e-3
    assert 0.5 < np.mean(np.square(z)) < 1.6  # the mean of 60 squares of a normal has sd 0.18


def test_a_stretched_print_is_told_and_contradicting_bars_are_refused() -> None:
    truth = camera(eye=(60.0, 100.0, 600.0), print_scale=(1.006, 0.996))
    found = sighting_of(true_saddles(truth, A4), 0.03)
    bare = solve_view(blank(), found)
    (told,) = [a for a in advise(bare, found) if a.kind is Weak.PRINT_WIDE]
    assert told.amount == pytest.approx(1.0, abs=0.05) and "too wide, as 'fit to page'" in photo_advice(
        told, MM
    )
    assert told.cost_mm == pytest.approx(0.6, abs=0.1)
    right = PrintScale.from_bars(A4, 150.9, 99.6)
    assert not [a for a in advise(solve_view(blank(), found, right), found) if a.kind is Weak.PRINT_WIDE]
    with pytest.raises(
        SheetError, match=r"by the check bars the print is -0\.99 % wider than high, by the photo"
    ):
        solve_view(blank(), found, PrintScale.from_bars(A4, 149.4, 100.6))  # the two mixed up
