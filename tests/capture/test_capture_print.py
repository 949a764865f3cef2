"""Print scale: bars read, remembered, contradicted by the photo; stretched prints found out."""

from pathlib import Path

import numpy as np
import pytest

from capture.advice import advise
from capture.camera.adjust import solve_view, stretch
from capture.errors import SheetError
from capture.sheet.marker_sheet import SHEETS
from capture.sheet.print_scale import PrintScale
from capture.sheet.printer_file import print_scale_for, read_bars
from tests.capture.test_capture_adjust import blank, drawn_camera, sighting_of
from tests.capture.test_capture_scene import camera, true_saddles

A4 = SHEETS["a4"]


def test_bars_are_remembered_per_paper(tmp_path: Path) -> None:
    path = tmp_path / "office.toml"
    first = print_scale_for(A4, (150.6, 99.7, 0.05), path)
    print_scale_for(SHEETS["a3"], (149.7, 100.2), path)
    again = print_scale_for(A4, None, path)
    assert first is not None and again == first and again.across == pytest.approx(1.004)
    assert again.across_sd == pytest.approx(0.05 / 150)
    assert read_bars(path) == {"a4": (150.6, 99.7, 0.05), "a3": (149.7, 100.2)}
    assert print_scale_for(A4, (150.0, 100.0), path) != first  # newer bars replace them
    assert read_bars(path)["a4"] == (150.0, 100.0) and len(read_bars(path)) == 2
    assert print_scale_for(A4, None, None) is None


def test_a_printer_file_that_is_none_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "office.toml"
    with pytest.raises(SheetError, match="no printer file at .*give --bars once"):
        print_scale_for(A4, None, path)
    for text in ("title = 'crane'", "a4 = [150.0]", "a4 = [[", "a4 = ['x', 2]"):
        path.write_text(text)
        with pytest.raises(SheetError, match="office.toml is not a printer file"):
            print_scale_for(A4, None, path)
        with pytest.raises(SheetError, match="office.toml is not a printer file"):
            print_scale_for(A4, (150.0, 100.0), path)
        assert path.read_text() == text  # somebody else's file is left alone
    path.write_text("a3 = [150, 100]")
    with pytest.raises(SheetError, match="office.toml knows no bars of the a4 sheet"):
        print_scale_for(A4, None, path)
    with pytest.raises(SheetError, match="cannot write"):
        print_scale_for(A4, (150.0, 100.0), tmp_path / "none" / "p.toml")
    with pytest.raises(SheetError, match="cannot read"):
        print_scale_for(A4, None, tmp_path)


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
    (told,) = [a for a in advise(bare, found) if "fit to page" in a.text]
    assert "1.0 % too wide," in told.text and told.cost_mm == pytest.approx(0.6, abs=0.1)
    right = PrintScale.from_bars(A4, 150.9, 99.6)
    assert not [a for a in advise(solve_view(blank(), found, right), found) if "fit to page" in a.text]
    with pytest.raises(
        SheetError, match=r"by the check bars the print is -0\.99 % wider than high, by the photo"
    ):
        solve_view(blank(), found, PrintScale.from_bars(A4, 149.4, 100.6))  # the two mixed up
