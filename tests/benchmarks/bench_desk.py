"""The desk's figures: start, first paint, a photo from upload to advice and verdict, a joint by hand, memory.

    .venv/bin/python tests/benchmarks/bench_desk.py [PHOTOS]

Opens a desk in a temporary folder and drives it as a browser does, through chromium for what is painted and
through plain requests for the rest; brings the sample photo PHOTOS times (default 20). Times are by the
clock, so the machine should have nothing else to do; processor time stands beside them.
"""

import http.cookiejar
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from compare.jobs.demo_sample import demo_files

ROOT = Path(__file__).resolve().parents[2]
MANY = 500


class Desk:
    """A client of a desk: comes in by its address, posts as our own pages do."""

    def __init__(self, address: str) -> None:
        self.base = address.split("?")[0].rstrip("/")
        jar = urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar())
        self._open = urllib.request.build_opener(jar).open
        page = self._open(address).read().decode()
        found = re.search(r'name="form-token" content="([^"]+)"', page)
        assert found is not None
        self.token = found[1]

    def get(self, path: str) -> str:
        return str(self._open(self.base + path).read().decode())

    def post(self, path: str, body: bytes, kind: str) -> Any:
        headers = {"origin": self.base, "content-type": kind, "accept": "application/json"}
        headers["x-form-token"] = self.token
        return json.loads(self._open(urllib.request.Request(self.base + path, body, headers)).read())

    def bring(self, dummy: str, photo: bytes) -> str:
        head = b'--x\r\nContent-Disposition: form-data; name="photos"; filename="a.jpg"\r\n\r\n'
        told = self.post(
            f"/dummies/{dummy}/photos", head + photo + b"\r\n--x--\r\n", "multipart/form-data; boundary=x"
        )
        return str(told["go"])


@contextmanager
def open_desk(folder: Path) -> Iterator[tuple[str, int]]:
    """Yield address and process number of a desk."""
    command = [sys.executable, "-m", "compare.cli", "desk", str(folder), "--no-browser"]
    env = {**os.environ, "PYTHONUNBUFFERED": "1"}
    with subprocess.Popen(
        command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, env=env
    ) as desk:
        assert desk.stdout is not None
        found = re.search(r"http://\S+", desk.stdout.readline())
        assert found is not None
        try:
            yield found[0], desk.pid
        finally:
            desk.terminate()


def family(pid: int) -> list[int]:
    """Return a process and all below it."""
    out = [pid]
    for name in Path("/proc").iterdir():
        if name.name.isdigit():
            stat = (name / "stat").read_text().rpartition(")")[2].split() if (name / "stat").exists() else []
            if stat and int(stat[1]) == pid:
                out += family(int(name.name))
    return out


def memory_mb(pid: int) -> float:
    """Return what a process and all below it hold for themselves (proportional set size), MB."""
    total = 0
    for one in family(pid):
        text = Path(f"/proc/{one}/smaps_rollup").read_text()
        found = re.search(r"Pss:\s+(\d+)", text)
        total += int(found[1]) if found else 0
    return total / 1000


def seconds_of(pid: int) -> float:
    """Return the processor time that a process and all below it have used so far."""
    ticks = os.sysconf("SC_CLK_TCK")
    total = 0
    for one in family(pid):
        fields = Path(f"/proc/{one}/stat").read_text().rpartition(")")[2].split()
        total += int(fields[11]) + int(fields[12])
    return total / ticks


def wait(desk: Desk, path: str) -> tuple[float, float]:
    """Return seconds from now to advice and to the end of a check."""
    start, advised = time.perf_counter(), 0.0
    while True:
        told = json.loads(desk.get(f"{path}/state"))
        now = time.perf_counter() - start
        if told["advised"] and not advised:
            advised = now
        if told["state"] != "waiting":
            return advised, now
        time.sleep(0.1)


def painted(address: str) -> list[float]:
    """Return milliseconds to the first paint of three visits; [] without a browser."""
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        return []
    from playwright.sync_api import sync_playwright

    script = "() => performance.getEntriesByName('first-contentful-paint')[0].startTime"
    with sync_playwright() as p:
        browser = p.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        page = browser.new_page()
        out = []
        for _ in range(3):
            page.goto(address)
            page.wait_for_timeout(200)
            out.append(float(page.evaluate(script)))
        browser.close()
    return out


def main() -> None:
    photos = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    photo, _ = demo_files()
    data = photo.read_bytes()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        start = time.perf_counter()
        with open_desk(folder) as (address, pid):
            print(f"start to address          {time.perf_counter() - start:6.2f} s")
            print(f"first paint, three visits {', '.join(f'{ms:.0f}' for ms in painted(address))} ms")
            desk = Desk(address)
            desk._open(urllib.request.Request(
                desk.base + "/sample", f"form_token={desk.token}".encode(), {"origin": desk.base}
            ))  # fmt: skip
            wait(desk, "/dummies/sample-crane/" + newest(folder))
            print("photo  upload to advice  to verdict  processor  memory of all processes")
            for k in range(1, photos + 1):
                used, begun = seconds_of(pid), time.perf_counter()
                path = desk.bring("sample-crane", data)
                sent = time.perf_counter() - begun
                advised, done = wait(desk, path)
                if k in (1, 2, 3, 5) or k % 10 == 0:
                    cpu = seconds_of(pid) - used
                    times = f"{k:5d}  {sent + advised:14.2f} s  {sent + done:8.2f} s  {cpu:7.2f} s"
                    print(f"{times}  {memory_mb(pid):8.0f} MB", flush=True)
            drawn = json.loads((folder / "sample-crane" / newest(folder) / "drawn.json").read_text())
            joint = next(j for j in drawn["joints"] if j["name"] == "leg top right")
            x, y = (
                (v + 0.5) / drawn["scale"] - 0.5 + low
                for v, low in zip(joint["at"], drawn["low"], strict=True)
            )
            for k in range(4):
                used, begun = seconds_of(pid), time.perf_counter()
                body = json.dumps([[joint["name"], x + k, y]]).encode()
                desk.post(f"{path}/hand", body, "application/json")
                took, cpu = time.perf_counter() - begun, seconds_of(pid) - used
                print(f"a joint by hand           {took:6.2f} s, processor {cpu:.2f} s")
            last = folder / "sample-crane" / newest(folder)
            for k in range(MANY):
                shutil.copytree(last, last.parent / f"2025-01-01-{k + 1}", copy_function=os.link)
            for what, where in (("bench", "/"), ("dummy", "/dummies/sample-crane")):
                begun = time.perf_counter()
                desk.get(where)
                print(f"{what} with {MANY} checks     {time.perf_counter() - begun:6.2f} s")


def newest(folder: Path) -> str:
    """Return the name of the last check."""
    names = [p.name for p in (folder / "sample-crane").iterdir() if p.is_dir()]
    return max(names, key=lambda n: (n[:10], int(n.rpartition("-")[2])))


if __name__ == "__main__":
    main()
