"""The desk in a real browser, on a real photo: from an empty folder to a verdict, at two sizes.

The browser is Debian's chromium through Playwright; skipped, and said so, where either is missing. An
accessibility checker (axe-core, https://github.com/dequelabs/axe-core) is used if the environment variable
AXE_CORE names its `axe.min.js`; our own checks of labels, headings, contrast and sizes run in any case.
"""

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from compare.jobs.demo_sample import demo_files

ROOT = Path(__file__).resolve().parents[2]
WIDE, PHONE = (1280, 860), (390, 844)

OWN_CHECKS = (Path(__file__).parent / "page_checks.js").read_text(encoding="utf-8").split("\n", 2)[2]
AXE = "() => axe.run().then(r => r.violations.map(v => [v.id, v.nodes.map(n => n.html.slice(0, 90))]))"


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


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return Path(tmp_path_factory.mktemp("bench"))


@pytest.fixture(scope="module")
def address(browser: Any, folder: Path) -> Iterator[str]:
    command = [sys.executable, "-m", "compare.cli", "desk", str(folder), "--no-browser"]
    env = {**os.environ, "PYTHONUNBUFFERED": "1"}
    with subprocess.Popen(
        command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, env=env
    ) as desk:
        assert desk.stdout is not None
        found = re.search(r"http://\S+", desk.stdout.readline())
        assert found is not None
        yield found[0]
        desk.terminate()
        desk.wait(30)


@pytest.fixture(scope="module")
def context(browser: Any, address: str) -> Iterator[Any]:
    c = browser.new_context(viewport={"width": WIDE[0], "height": WIDE[1]})
    c.set_default_timeout(60_000)
    page = c.new_page()
    page.goto(address)
    page.close()
    yield c
    c.close()


@pytest.fixture
def page(context: Any) -> Iterator[Any]:
    p = context.new_page()
    slips: list[str] = []
    p.on("pageerror", lambda err: slips.append(str(err)))
    p.on("console", lambda m: slips.append(m.text) if m.type == "error" else None)
    yield p
    p.close()
    assert slips == []


def at(address: str, path: str) -> str:
    return address.split("?")[0].rstrip("/") + path


def require_accessible(page: Any) -> None:
    """Hold the page against our checks at both sizes, and against axe-core where there is one."""
    axe = os.environ.get("AXE_CORE", "")
    page.wait_for_load_state("load")
    for width, height in (PHONE, WIDE):
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate(OWN_CHECKS) == [], page.url
        if axe:
            page.context.new_cdp_session(page).send("Page.setBypassCSP", {"enabled": True})
            page.evaluate(Path(axe).read_text(encoding="utf-8"))
            found = page.evaluate(AXE)
            assert found == [], page.url


def test_from_an_empty_folder_to_a_verdict(page: Any, address: str, folder: Path) -> None:
    """All a newcomer does: construction, lengths, a photo with a hostile name, a reload, the answer."""
    page.goto(at(address, "/"))
    require_accessible(page)
    page.get_by_role("main").get_by_role("link", name="New dummy").click()
    require_accessible(page)
    page.get_by_role("link", name="Plane on a fold and two legs").click()
    page.get_by_label("What it is called").fill('Crane <img src=x onerror="document.title=1">')
    page.get_by_label("page, spine to fore edge, mm").fill("105")
    leg = page.locator('[id="f:right.leg"]')
    leg.fill("4000")
    page.locator(".field.bad .wrong").wait_for()
    leg.fill("40")
    page.locator("[data-look] .done").wait_for()
    require_accessible(page)
    page.get_by_role("button", name="Put it on the bench").click()
    page.get_by_label("Photos of the open dummy").wait_for()
    require_accessible(page)
    (dummy,) = [p for p in folder.iterdir() if p.is_dir()]
    photo, _ = demo_files()
    hostile = {
        "name": '"><script>alert(1)</script>.jpg',
        "mimeType": "image/jpeg",
        "buffer": photo.read_bytes(),
    }
    page.get_by_label("Photos of the open dummy").set_input_files([hostile])
    page.get_by_role("button", name="Measure", exact=True).click()
    page.wait_for_url(re.compile(r"/dummies/[^/]+/[0-9-]+$"))
    page.reload()
    page.locator("#answer").wait_for()
    assert page.locator("#answer").inner_text().startswith("The right half leans 2.4 degrees: ")
    assert (dummy / page.url.rpartition("/")[2] / "photo-1.jpg").read_bytes() == photo.read_bytes()
    require_accessible(page)


def test_the_answer_by_keyboard(page: Any, address: str, folder: Path) -> None:
    """Skip link, layers, magnifying, the slider, a joint moved by a tenth of a pixel, undone."""
    (dummy,) = folder.glob("crane*")
    page.goto(at(address, f"/dummies/{dummy.name}"))
    page.locator(".checks a").first.click()
    page.locator("#answer").wait_for()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"
    figures = page.get_by_role("button", name="figures")
    figures.focus()
    page.keyboard.press("Space")
    assert figures.get_attribute("aria-pressed") == "false"
    page.locator(".over").focus()
    page.keyboard.press("+")
    assert page.locator("[data-stage].zoomed").count() == 1
    page.keyboard.press("0")
    page.locator("#opening").focus()
    page.keyboard.press("Home")
    assert page.locator("#opening-said").inner_text().startswith("Open 1°")
    page.get_by_text("A joint was missed?").focus()
    page.keyboard.press("Enter")
    page.get_by_label("Joint", exact=True).select_option("leg top right")
    before = page.locator('[data-joint="leg top right"] .grip').get_attribute("cy")
    page.get_by_role("button", name="up", exact=True).focus()
    page.keyboard.press("ArrowUp")
    page.locator("[data-hand-said]", has_text="Worked out with 1").wait_for()
    after = page.locator('[data-joint="leg top right"] .grip').get_attribute("cy")
    assert before != after and page.locator(".layer-joints .by-hand").count() == 1
    require_accessible(page)
    page.get_by_role("button", name="Undo").click()
    page.locator("[data-hand-said]", has_text="Worked out with 0").wait_for()
    assert page.locator(".layer-joints .by-hand").count() == 0


@pytest.mark.parametrize("path", ["/set-up", "/lots", "/phone"])
def test_other_screens(page: Any, address: str, path: str) -> None:
    page.goto(at(address, path))
    require_accessible(page)


def test_without_scripts_a_dummy_is_made_and_changed(browser: Any, address: str, context: Any) -> None:
    plain = browser.new_context(java_script_enabled=False)
    plain.add_cookies(context.cookies())
    page = plain.new_page()
    page.goto(at(address, "/new/one-leg"))
    page.get_by_label("What it is called").fill("Pier")
    page.get_by_role("button", name="Look at it").first.click()
    assert page.locator(".end-on").count() == 1
    page.get_by_role("button", name="Put it on the bench").first.click()
    assert page.get_by_role("heading", name="Pier").count() == 1
    plain.close()
