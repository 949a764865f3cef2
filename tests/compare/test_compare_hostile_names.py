"""Names from specs, photos and manifests reach our pages as text and as nothing else."""

import base64
import csv
import hashlib
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from markupsafe import Markup

from capture.photo import photo_of_array
from compare.cli import main
from compare.design.load_spec import load_spec
from compare.design.study.motion import move
from compare.lot.ledger.ledger import Ledger
from compare.lot.run.manifest import read_lot
from compare.tell.check.check_csv import csv_text
from compare.tell.check.check_page import report_html
from compare.tell.design.design_motion import page_of
from compare.tell.draw import svg
from compare.tell.draw.web_page import page_head, script_data
from compare.tell.table_cells import plain_cell, plain_row
from tests.helpers.made_inspections import inspection_of
from tests.helpers.made_lots import fake_folder, fill
from tests.helpers.made_profiles import TWO_SIDED, spec_of
from tests.helpers.mechanism_specs import any_profile

html5lib = pytest.importorskip("html5lib", reason="html5lib is not installed")

IMAGE = "<img src=x onerror=alert(1)>"
CLOSING = "</title></script><script>alert(2)</script>"
QUOTE = "\" onload='alert(3)' x=\""
SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"


def elements(text: str) -> Iterator[Any]:
    """All elements of a page as a browser makes them of it."""
    yield from html5lib.parse(text, treebuilder="etree", namespaceHTMLElements=False).iter()


def require_harmless(text: str) -> None:
    """Nothing runs, nothing is fetched, and the policy allows only what is in the page."""
    scripts: list[str] = []
    styles: list[str] = []
    policy = ""
    for element in elements(text):
        tag = str(element.tag).rpartition("}")[2]
        for name, value in element.attrib.items():
            assert not str(name).lower().startswith("on"), (tag, name, value)
            if str(name).rpartition("}")[2] in ("src", "href", "action"):
                assert value.startswith(("data:image/", "#")), (tag, name, value[:60])
        assert tag not in ("iframe", "object", "embed", "base", "link", "form"), tag
        if tag == "script" and element.attrib.get("type") != "application/json":
            scripts.append(element.text)
        if tag == "style":
            styles.append(element.text)
        if tag == "meta" and element.attrib.get("http-equiv") == "Content-Security-Policy":
            policy = element.attrib["content"]
    assert policy.startswith("default-src 'none'; img-src data:; ")
    # The hashes are worked out here from what a browser would run, not taken from the page's maker.
    allowed = set(re.findall(r"'sha256-([^']+)'", policy))
    seen = {base64.b64encode(hashlib.sha256(s.encode()).digest()).decode() for s in scripts + styles}
    assert seen == allowed and "alert" not in "".join(scripts)
    assert "unsafe" not in policy


def hostile_spec(folder: Path) -> Path:
    """A drawn design whose title, panels and joints are called what an attacker would call them."""
    text = (SAMPLES / "scissors.toml").read_text(encoding="utf-8")
    for old, new in (
        ("strip right", IMAGE),
        ("strip left", CLOSING),
        ("roof left", QUOTE),
        ("apex", "<svg onload=alert(4)>"),
        ("Nine Lamps of Orrin Quay: the net crane", CLOSING + IMAGE),
    ):
        assert f'"{old}"' in text
        quoted = new.replace("\\", "\\\\").replace('"', '\\"')
        text = text.replace(f'"{old}"', f'"{quoted}"')
    path = folder / "<img src=x onerror=alert(5)>.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_report_of_a_check(tmp_path: Path) -> None:
    spec = load_spec(hostile_spec(tmp_path))
    longest = max(spec.mechanism.lengths, key=lambda k: spec.mechanism.lengths[k])
    inspection = inspection_of(any_profile(spec, {longest: -2.5}), spec)
    name = f"{QUOTE}{IMAGE}.jpg"
    photo = photo_of_array(np.array(inspection.photo.bgr), name=name, sha256="0" * 64)
    inspection = replace(inspection, shots=(replace(inspection.shots[0], photo=photo),))
    text = report_html(inspection)
    assert "&lt;img src=x onerror=alert(1)&gt;" in text  # it is there, as text
    require_harmless(text)


def test_the_page_of_a_motion(tmp_path: Path) -> None:
    spec = load_spec(hostile_spec(tmp_path))
    require_harmless(page_of(spec, move(spec)))
    # A title that is called as one of the page's own places stays a title.
    spec = spec_of(TWO_SIDED.replace("kitchen", "{frames} NAME {script}"), tmp_path)
    text = page_of(spec, move(spec))
    require_harmless(text)
    assert "{frames} NAME {script}" in text


def test_the_report_and_history_of_lots(tmp_path: Path) -> None:
    rng = np.random.default_rng(4)
    spec = spec_of(TWO_SIDED.replace("kitchen", CLOSING), tmp_path)
    labels = [{"die": (IMAGE, QUOTE)[i % 2], IMAGE: CLOSING.replace("/", "")} for i in range(12)]
    folder = fake_folder(tmp_path / IMAGE, 12, labels)
    manifest = folder / "manifest.csv"
    table = manifest.read_text(encoding="utf-8").replace("\n1,", f'\n"{IMAGE}",', 1)
    manifest.write_text(table, encoding="utf-8")
    faults = [{"leg left": -0.15 * i, "page spacing right": 0.6 * (i % 2)} for i in range(12)]
    ledger = tmp_path / "l.sqlite"
    with Ledger(ledger) as book:
        fill(book, read_lot(folder), spec, faults, rng)
    pages = [tmp_path / "r.html", tmp_path / "h.html"]
    common = ["--ledger", str(ledger)]
    lot = ["lot", str(folder), "--spec", str(tmp_path / "spread.toml"), *common, "--report", str(pages[0])]
    assert CliRunner().invoke(main, [*lot, "--name", CLOSING]).exit_code in (0, 3, 4)
    history = ["lot", "history", *common, "--report", str(pages[1])]
    assert CliRunner().invoke(main, history).exit_code == 0
    for page in pages:
        require_harmless(page.read_text(encoding="utf-8"))
    assert "&lt;img" in pages[0].read_text(encoding="utf-8")


def test_there_is_one_way_into_an_element_and_it_escapes() -> None:
    assert svg.element("title", IMAGE) == "<title>&lt;img src=x onerror=alert(1)&gt;</title>"
    assert svg.element("g", svg.element("title", "a")) == "<g><title>a</title></g>"
    assert 'aria-label="&#34; onload=' in svg.element("g", aria_label=QUOTE)
    assert svg.together([svg.words("<b>", 0, 0, "x"), "<i>"]).endswith("&lt;i&gt;")  # type: ignore[list-item]
    data = script_data({"a": "</script><!--\u2028&"})
    assert isinstance(data, Markup) and not re.search("[<>&\u2028]", data)
    assert "script-src &#39;none&#39;" in page_head("x", style="a{}")


def test_no_cell_of_a_table_is_a_formula() -> None:
    for text in ("=HYPERLINK(1)", "+1+cmd", "-2+3", "@SUM(A1)", "\t=1", "\r=1"):
        assert plain_cell(text) == f"'{text}"
    for kept in ("-1.9", "+0.25", "-1e-3", "leg left", "", -1.9, None, 3):
        assert plain_cell(kept) == kept
    assert plain_row({"a": "=1+1", "b": -1.5}) == {"a": "'=1+1", "b": -1.5}


def test_the_table_of_a_check(tmp_path: Path) -> None:
    text = (SAMPLES / "scissors.toml").read_text(encoding="utf-8").replace('"strip right"', '"=cmd()"')
    (tmp_path / "s.toml").write_text(text, encoding="utf-8")
    spec = load_spec(tmp_path / "s.toml")
    rows = list(csv.reader(csv_text(inspection_of(any_profile(spec), spec).findings).splitlines()))
    assert any("=cmd()" in cell for row in rows for cell in row)
    assert not any(cell.startswith("=") for row in rows for cell in row)
