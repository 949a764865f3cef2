"""The marker sheet on paper: sizes, geometry, and the PDF rasterised by an independent renderer."""

from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import pytest

from capture.errors import SheetError
from capture.sheet.apron import APRON, BOTTOM_MM, FLAP_MM
from capture.sheet.apron_pdf import APRON_PAGE_Y_MM
from capture.sheet.board import BOARD, BOARD_ENLARGED
from capture.sheet.doorstep_pdf import DOORSTEP_TOP_MM
from capture.sheet.marker_sheet import SHEETS, arch_outline, sheet_for_paper, sheet_of_tags
from capture.sheet.sheet_pdf import write_board, write_sheet
from capture.sheet.sill import DOORSTEP, DOORSTEP_TAGS, SILL_SHEETS, SILL_TAGS, printed_sill

DPI = 254.0  # ten pixels per mm

# ISO 216:2007 (A3, A4), as `paperconf -s -m` of Debian's libpaper-utils prints them; ASME Y14.1 sizes A
# (8.5 x 11 in) and B (11 x 17 in), that is letter and tabloid (names from memory, sizes as paperconf's).
PUBLISHED_MM = {
    "a4": (297.0, 210.0),
    "a3": (420.0, 297.0),
    "letter": (11 * 25.4, 8.5 * 25.4),
    "tabloid": (17 * 25.4, 11 * 25.4),
}


@pytest.fixture(scope="module")
def rasters(tmp_path_factory: pytest.TempPathFactory) -> dict[str, np.ndarray]:
    out = {}
    for paper in SHEETS:
        path = tmp_path_factory.mktemp("pdf") / f"{paper}.pdf"
        write_sheet(path, paper, dark_field=paper != "letter", sill=False)
        with pypdfium2.PdfDocument(path) as document:
            assert len(document) == 3
            page = document[0]
            out[paper] = np.asarray(page.render(scale=DPI / 72, grayscale=True).to_numpy()).squeeze()
            page.close()
    return out


def pixel(paper: str, image: np.ndarray, xy: np.ndarray) -> np.ndarray:
    """Raster position of sheet mm, in units where (0, 0) is the OUTER corner of the first pixel.

    The renderer stretches the page to a whole number of pixels (2971 for 2970.0001): no plain factor 10.
    """
    w, h = SHEETS[paper].paper_mm
    unit = np.array(image.shape[::-1]) / (w, h)
    assert unit == pytest.approx([10, 10], abs=0.01)
    out: np.ndarray = np.stack([xy[..., 0] + w / 2, h / 2 - xy[..., 1]], axis=-1) * unit
    return out


@pytest.mark.parametrize("paper", SHEETS)
def test_paper_sizes_are_the_standards(paper: str) -> None:
    assert SHEETS[paper].paper_mm == pytest.approx(PUBLISHED_MM[paper], abs=1e-9)


@pytest.mark.parametrize("paper", SHEETS)
def test_ring_fits_the_paper_and_tags_their_squares(paper: str) -> None:
    sheet = SHEETS[paper]
    left, bottom, right, top = sheet.ring
    assert left == -right and bottom == -top
    assert min(sheet.paper_mm[0] / 2 - right, sheet.paper_mm[1] / 2 - top) > 7  # room for bars, printable
    assert len(sheet.saddles) == 2 * (sheet.n_cols - 1 + sheet.n_rows - 1) - 4
    black_middles = sheet.black_squares + sheet.square_mm / 2
    for corners in sheet.tags.values():
        middle = corners.mean(axis=0)
        assert np.ptp(corners, axis=0) == pytest.approx([0.8 * sheet.square_mm] * 2)
        assert np.min(np.abs(black_middles - middle).max(axis=1)) >= sheet.square_mm - 1e-9
    assert np.allclose(sheet.saddles.mean(axis=0), 0)


def test_tag_ids_name_one_sheet_only_and_leave_the_reserved_ones() -> None:
    ids = [i for sheet in SHEETS.values() for i in sheet.tags]
    assert len(ids) == len(set(ids)) and max(ids) < min(BOARD.tags)
    assert max(BOARD.tags) < min(APRON[0].tags) and max(APRON[1].tags) < 587  # codes in the family
    assert sheet_of_tags([81, 82, 3]) is SHEETS["letter"]
    assert sheet_of_tags([400, 586]) is None


def test_arch_keeps_all_but_window_and_bottom_band() -> None:
    sheet = SHEETS["a4"]
    outline = arch_outline(sheet).astype(np.float32)
    inside = [cv2.pointPolygonTest(outline, (float(x), float(y)), False) > 0 for x, y in sheet.saddles]
    assert np.array_equal(~np.array(inside), sheet.in_bottom_band)
    assert np.count_nonzero(inside) == 50 and np.count_nonzero(sheet.in_bottom_band) == 20
    left, bottom, right, top = sheet.window
    window = (right - left - 4) * (top - bottom - 2)
    band = (right - left) * (bottom + sheet.paper_mm[1] / 2)
    assert cv2.contourArea(outline) == pytest.approx(297 * 210 - window - band)


def test_unknown_paper_is_refused() -> None:
    with pytest.raises(SheetError, match=r"no sheet for paper 'a5'; choose one of a4, letter, a3, tabloid"):
        sheet_for_paper("a5")


@pytest.mark.parametrize("paper", SHEETS)
def test_pdf_page_has_the_size_of_the_paper(paper: str, tmp_path: Path) -> None:
    write_sheet(tmp_path / "s.pdf", paper)
    with pypdfium2.PdfDocument(tmp_path / "s.pdf") as document:
        for page in document:
            size_mm = np.array(page.get_size()) * 25.4 / 72
            assert size_mm == pytest.approx(PUBLISHED_MM[paper], abs=1e-3)
            page.close()


@pytest.mark.parametrize("paper", SHEETS)
def test_pdf_has_every_saddle_exactly_where_the_geometry_says(
    paper: str, rasters: dict[str, np.ndarray]
) -> None:
    sheet, image = SHEETS[paper], rasters[paper].astype(float)
    # Integrated over 1 mm squares on either side, an edge in the wrong place by 0.01 mm shows as 2.5 levels.
    for xy, sign in zip(sheet.saddles, sheet.saddle_sign, strict=True):
        for dx, dy in ((1, 1), (-1, 1), (-1, -1), (1, -1)):
            col, row = np.rint(pixel(paper, image, xy + np.array([0.6 * dx, 0.6 * dy]))).astype(int)
            patch = image[row - 3 : row + 3, col - 3 : col + 3]
            assert patch.mean() == pytest.approx(0 if dx * dy * sign > 0 else 255, abs=0.5)
        # the edge through the saddle: its place along a line, from how much of the line is dark
        for along, across in (((1.0, 0.0), (0.0, 1.0)), ((0.0, 1.0), (1.0, 0.0))):
            start = pixel(paper, image, xy - np.array(along) + 0.6 * np.array(across))
            stop = pixel(paper, image, xy + np.array(along) + 0.6 * np.array(across))
            n = 400
            line = start + (np.arange(n) + 0.5)[:, None] / n * (stop - start)
            values = image[np.floor(line[:, 1]).astype(int), np.floor(line[:, 0]).astype(int)] / 255
            dark_mm = 2 * (1 - values.mean())
            assert dark_mm == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize("paper", SHEETS)
def test_tags_in_the_pdf_are_read_back_by_opencv(paper: str, rasters: dict[str, np.ndarray]) -> None:
    sheet = SHEETS[paper]
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(rasters[paper])
    assert set(np.ravel(ids)) == set(sheet.tags)
    for i, found in zip(np.ravel(ids), corners, strict=True):
        assert (
            np.abs(found.reshape(4, 2) + 0.5 - pixel(paper, rasters[paper], sheet.tags[int(i)])).max() < 1.5
        )


@pytest.mark.parametrize("paper", SHEETS)
def test_check_bars_have_their_printed_lengths(paper: str, rasters: dict[str, np.ndarray]) -> None:
    dark = 255.0 - rasters[paper]
    for bar, length in zip(SHEETS[paper].bars, (150.0, 100.0), strict=True):
        ends = []
        for end in (bar.start_mm, bar.end_mm):
            # beside the line, only the tick is dark: its centroid along the bar
            off = np.array([0.0, 0.7]) if bar.name == "across" else np.array([0.7, 0.0])
            col, row = np.floor(pixel(paper, dark, np.array(end) + off)).astype(int)
            axis = 0 if bar.name == "across" else 1
            if axis == 0:
                profile = dark[row, col - 8 : col + 9]
                ends.append((np.arange(col - 8, col + 9) + 0.5) @ profile / profile.sum())
            else:
                profile = dark[row - 8 : row + 9, col]
                ends.append((np.arange(row - 8, row + 9) + 0.5) @ profile / profile.sum())
        px_per_mm = dark.shape[1 if bar.name == "across" else 0] / SHEETS[paper].paper_mm[bar.name == "up"]
        assert abs(ends[1] - ends[0]) / px_per_mm == pytest.approx(length, abs=0.02)


def test_dark_field_can_be_switched_off(rasters: dict[str, np.ndarray]) -> None:
    for paper, image in rasters.items():
        middle = image[image.shape[0] // 2, image.shape[1] // 2]
        assert middle == (255 if paper == "letter" else pytest.approx(28, abs=2))


def test_pdf_that_cannot_be_written_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(SheetError, match=r"cannot write .*choose another folder"):
        write_sheet(tmp_path / "missing" / "s.pdf", "a4")
    (tmp_path / "taken").mkdir()
    with pytest.raises(SheetError, match="cannot write"):
        write_sheet(tmp_path / "taken", "a4")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["taken"]


def test_same_sheet_gives_the_same_bytes(tmp_path: Path) -> None:
    write_sheet(tmp_path / "a.pdf", "a4")
    write_sheet(tmp_path / "b.pdf", "a4")
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


def read_back(image: np.ndarray) -> dict[int, np.ndarray]:
    """Corners (4, 2) of every tag as OpenCV finds them, outer corner of the first pixel at 0."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(image)
    return {int(i): c.reshape(4, 2) + 0.5 for i, c in zip(np.ravel(ids), corners, strict=True)}


def quadrants(paper: str, image: np.ndarray, xy: np.ndarray, reach_mm: float) -> np.ndarray:
    """Grey values (N, 4) up right, up left, down left, down right of places on the page."""
    steps = reach_mm * np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]])
    col, row = np.floor(pixel(paper, image, xy[:, None] + steps)).astype(int).transpose(2, 0, 1)
    return image[row, col]


@pytest.mark.parametrize("paper", SHEETS)
def test_apron_lies_on_the_second_page_as_its_geometry_says(paper: str, tmp_path: Path) -> None:
    write_sheet(tmp_path / "s.pdf", paper)
    with pypdfium2.PdfDocument(tmp_path / "s.pdf") as document:
        image = np.asarray(document[1].render(scale=DPI / 72, grayscale=True).to_numpy()).squeeze()
    on_page = np.array([0.0, APRON_PAGE_Y_MM])
    found = read_back(image)
    assert {i for i in found if i not in DOORSTEP.tag_ids} == {i for half in APRON for i in half.tags}
    for half in APRON:
        for i, corners in half.tags.items():
            assert np.abs(found[i] - pixel(paper, image, corners + on_page)).max() < 1.5
        seen = quadrants(paper, image, half.saddles + on_page, 0.7)
        black = np.stack([half.saddle_sign, -half.saddle_sign] * 2, axis=1) > 0
        assert np.array_equal(seen < 128, black)
        assert np.all(np.abs(half.saddles[:, 0]) >= 8) and len(half.saddles) == 18
        assert np.all(np.sign(half.saddles[:, 0]) == (1 if half.side == "right" else -1))
    band = quadrants(paper, image, np.array([[0.0, -2.0], [40.0, -2.0], [-40.0, -2.0]]) + on_page, 0.2)
    assert np.all(band[0] == 255) and np.all(band[1:] < 40)  # the tick at the spine, the dark band
    assert np.all(quadrants(paper, image, np.array([[40.0, 1.0]]) + on_page, 0.5) == 255)  # the flap
    assert BOTTOM_MM == -30 and FLAP_MM == 12


@pytest.mark.parametrize("paper", SHEETS)
def test_the_first_page_with_its_sill_is_as_its_geometry_says(paper: str, tmp_path: Path) -> None:
    sheet = SILL_SHEETS[paper]
    sill = printed_sill(sheet)
    write_sheet(tmp_path / "s.pdf", paper)
    with pypdfium2.PdfDocument(tmp_path / "s.pdf") as document:
        pages = [
            np.asarray(document[i].render(scale=DPI / 72, grayscale=True).to_numpy()).squeeze()
            for i in (0, 1)
        ]
    found = read_back(pages[0])
    assert set(found) == set(sheet.tags)
    for i, corners in sheet.tags.items():
        assert np.abs(found[i] - pixel(paper, pages[0], corners)).max() < 1.6
    on_second = np.array([0.0, sheet.paper_mm[1] / 2 - DOORSTEP_TOP_MM])
    for lying, image, shift in ((sill, pages[0], np.zeros(2)), (DOORSTEP, pages[1], on_second)):
        for part in lying.parts:
            seen = quadrants(paper, image, part.saddles + shift, 2.0)
            black = np.stack([part.saddle_sign, -part.saddle_sign] * 2, axis=1) > 0
            assert np.array_equal(seen < 128, black)
            tags = np.concatenate(list(part.tags.values()))
            assert tags[:, 1].max() < lying.fold_mm - 3 and part.black_cells[:, 1].max() < lying.fold_mm - 3
            assert part.span_mm[0] < tags[:, 0].min() and tags[:, 0].max() < part.span_mm[1]
            cells = [(x, x + part.cell_mm[0]) for x, _ in part.black_cells]
            assert all(b < part.coin_mm[0] - 11.4 or a > part.coin_mm[0] + 11.4 for a, b in cells)
    assert 30 <= sill.depth_mm <= 45
    margin = sheet.paper_mm[1] / 2 + min(c[1] for part in sill.parts for c in part.black_cells)
    assert margin > 4.2  # common printers leave that much white (common practice, no source)
    ring_foot = sheet.black_squares[:, 1].min()
    assert ring_foot >= sill.fold_mm + 3


def test_what_stays_upright_is_the_same_on_prints_with_and_without_a_sill() -> None:
    for paper, sheet in SHEETS.items():
        other = SILL_SHEETS[paper]
        common = set(sheet.tags) & set(other.tags)
        assert all(np.array_equal(sheet.tags[i], other.tags[i]) for i in common)
        assert set(other.tags) - common == set(printed_sill(other).tag_ids)
    ids = [*SILL_TAGS, *DOORSTEP_TAGS]
    taken = {i for s in (*SHEETS.values(), BOARD, *APRON) for i in s.tags}
    assert len(set(ids)) == 8 and not taken & set(ids)


@pytest.mark.parametrize("paper", SHEETS)
def test_board_is_one_pattern_enlarged_on_large_paper(paper: str, tmp_path: Path) -> None:
    write_board(tmp_path / "b.pdf", paper)
    with pypdfium2.PdfDocument(tmp_path / "b.pdf") as document:
        assert len(document) == 1
        image = np.asarray(document[0].render(scale=DPI / 72, grayscale=True).to_numpy()).squeeze()
    grow = BOARD_ENLARGED[paper]
    found = read_back(image)
    assert set(found) == set(BOARD.tags)
    for i, corners in BOARD.tags.items():
        assert np.abs(found[i] - pixel(paper, image, corners * grow)).max() < 1.5
    black = np.stack([BOARD.saddle_sign, -BOARD.saddle_sign] * 2, axis=1) > 0
    assert np.array_equal(quadrants(paper, image, BOARD.saddles * grow, 0.7) < 128, black)
    margin = np.array(SHEETS[paper].paper_mm) / 2 - np.array(BOARD.ring[2:]) * grow
    assert len(BOARD.saddles) == 17 * 12 and margin.min() > 6  # printable
