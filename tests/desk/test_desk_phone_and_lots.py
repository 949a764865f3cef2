"""The phone's door, watched folders, lots: who may come, what is taken, what a stop leaves."""

import asyncio
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from compare.desk.gate import phone_door
from compare.desk.gate.phone_door import PhoneDoor, code_drawing, pass_for_phone
from compare.desk.project.check_folder import CheckFolder
from compare.desk.project.lot_folder import LotFolder
from compare.desk.screens.desk_pages import Desk
from compare.desk.screens.phone_screen import phone_app
from compare.desk.screens.watched_folder import Seen, take_in
from compare.desk.work import lot_process
from compare.desk.work.check_queue import CheckQueue
from tests.desk.fake_desk import JPEG, OpenDesk, open_desk
from tests.desk.odd_worker import odd_worker, slow_lot
from tests.helpers.made_profiles import TWO_SIDED

PHONE = "192.0.2.7:8766"


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[OpenDesk]:
    out = open_desk(tmp_path)
    out.project.add_dummy("crane", TWO_SIDED)
    yield out
    out.client.__exit__()


@pytest.fixture
def door() -> PhoneDoor:
    return PhoneDoor("crane", "192.0.2.7", 8766, pass_for_phone("192.0.2.7", 8766))


@pytest.fixture
def phone(desk: OpenDesk, door: PhoneDoor) -> Iterator[TestClient]:
    behind = Desk(desk.project, desk.pool, CheckQueue(desk.pool))
    with TestClient(phone_app(behind, door), base_url=f"http://{PHONE}") as client:
        yield client


def send(phone: TestClient, door: PhoneDoor, **more: Any) -> Any:
    headers = {"origin": f"http://{PHONE}", "x-form-token": door.entry.form}
    return phone.post(
        "/photos", files=[("photos", ("image.jpg", JPEG, "image/jpeg"))], headers=headers, **more
    )


def test_a_code_lets_in_one_phone_once(phone: TestClient, door: PhoneDoor) -> None:
    way = door.address.removeprefix(f"http://{PHONE}")
    first = phone.get(way)
    assert first.status_code == 200 and 'capture="environment"' in first.text
    assert phone.get(way).status_code == 200  # the same phone points at it again
    phone.cookies.clear()
    assert phone.get(way).status_code == 403 and phone.get("/").status_code == 403


def test_a_phone_brings_photos_and_sees_only_those(
    desk: OpenDesk, phone: TestClient, door: PhoneDoor
) -> None:
    desk.bring("crane")
    (earlier,) = desk.project.dummies()[0].checks()
    phone.get(door.address.removeprefix(f"http://{PHONE}"))
    answer = send(phone, door)
    assert answer.status_code == 200 and 'id="answer"' in answer.text
    assert desk.project.dummies()[0].checks()[0].asked()["brought_by"] == "phone"
    assert door.checks == [desk.project.dummies()[0].checks()[0].name]
    for path in (f"/{earlier.name}", "/dummies/crane", "/set-up", f"/{earlier.name}/state"):
        assert phone.get(path).status_code == 404


def test_the_phone_is_told_what_to_change(desk: OpenDesk, phone: TestClient, door: PhoneDoor) -> None:
    desk.pool.refusal = "no marker sheet is seen; show the whole ring"
    phone.get(door.address.removeprefix(f"http://{PHONE}"))
    assert "show the whole ring" in send(phone, door).text


def test_switching_on_and_off(desk: OpenDesk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(phone_door, "own_address", lambda: "127.0.0.1")
    monkeypatch.setattr("compare.desk.screens.phone_screen.own_address", lambda: "127.0.0.1")
    assert "Show the code" in desk.client.get("/phone").text
    on = desk.post("/phone/on", {"dummy": "crane"})
    assert 'class="qr"' in on.text and "http://127.0.0.1:" in on.text
    assert desk.post("/phone/on", {"dummy": "nothing"}).status_code == 422
    desk.post("/phone/off")
    assert 'class="qr"' not in desk.client.get("/phone").text


def test_a_code_is_drawn_as_squares() -> None:
    text = str(code_drawing("http://192.0.2.7:8766/?token=abcdefgh"))
    assert text.count("h1v1h-1z") > 200 and 'role="img"' in text


def test_a_photo_put_into_a_dummys_folder_is_taken_when_it_stands_still(desk: OpenDesk) -> None:
    (dummy,) = desk.project.dummies()
    photo = dummy.folder / "IMG 5.JPG"
    photo.write_bytes(JPEG)
    seen: Seen = {}
    assert take_in(desk.project, seen) == []
    photo.write_bytes(JPEG + b"more")
    assert take_in(desk.project, seen) == []
    (check,) = take_in(desk.project, seen)
    assert not photo.exists() and check.photos()[0][0] == "IMG 5.JPG"
    assert check.photos()[0][1].read_bytes() == JPEG + b"more"
    assert take_in(desk.project, seen) == [] and isinstance(check, CheckFolder)


def lot_photos(n: int) -> list[tuple[str, tuple[str, bytes, str]]]:
    return [("photos", (f"../s{i}.jpg", JPEG, "image/jpeg")) for i in range(n)]


def test_a_lot_is_brought_measured_and_told(desk: OpenDesk) -> None:
    assert "None yet" in desk.client.get("/lots").text
    desk.post("/lots", {"name": "Monday <b>"}, files=lot_photos(20))
    (lot,) = [LotFolder(p) for p in (desk.project.root / "lots").iterdir()]
    assert lot.name == "monday-b" and lot.photos() == 20
    assert {p.name for p in lot.folder.iterdir()} == {f"s{i}.jpg" for i in range(20)}
    lot.write_state({"state": "measuring", "done": 5, "known": 1, "total": 20, "began": 0, "spec": "crane"})
    stopped = desk.client.get("/lots").text
    assert "6 of 20 samples" in stopped and "Go on" in stopped  # nobody measures it now
    lot.write_state({"state": "done", "code": 3, "headline": "Do not accept: <i>", "sentences": ["Why."]})
    done = desk.client.get("/lots").text
    assert "Do not accept: &lt;i&gt;" in done and "Why." in done
    assert desk.client.get("/lots/monday-b/report.html").status_code == 404
    desk.post("/lots/monday-b/take-away")
    assert "None yet" in desk.client.get("/lots").text


def test_a_lot_runs_in_a_process_of_its_own_until_it_is_stopped(
    desk: OpenDesk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(lot_process, "measure_lot", slow_lot)
    for name in ("first", "second"):
        (desk.project.root / "lots" / name).mkdir(parents=True)
    text = desk.post("/lots/first/measure", {"dummy": "crane"}).text
    assert "being measured" in text and "Stop" in text
    assert "One lot at a time" in desk.post("/lots/second/measure", {"dummy": "crane"}).text
    text = desk.post("/lots/first/stop").text
    assert "stopped; what is finished is kept" in text and "Go on" in text
    for wrong in ({"size": "many"}, {"size": "500", "aql": "x"}):
        assert desk.post("/lots/second/measure", {"dummy": "crane", **wrong}).status_code == 422


def test_a_lot_that_cannot_be_measured_says_why(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    lot = LotFolder(tmp_path / "lots" / "empty")
    lot.folder.mkdir(parents=True)
    spec = tmp_path / "crane.toml"
    spec.write_text(TWO_SIDED, encoding="utf-8")
    monkeypatch.setattr(lot_process.signal, "signal", lambda *a: None)
    lot_process.measure_lot(str(tmp_path), str(lot.folder), str(spec), lot_process.Remembered())
    assert lot.state()["state"] == "refused" and "no photo" in str(lot.state()["line"]).lower()


def test_stopping_a_lot_keeps_what_is_finished(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    lot = LotFolder(tmp_path / "lots" / "long")
    lot.folder.mkdir(parents=True)

    def measured(root: Path, there: LotFolder, *rest: Any) -> None:
        rest[-1].update(done=3, known=0, total=9, bad=0)
        raise KeyboardInterrupt

    monkeypatch.setattr(lot_process, "_measure", measured)
    monkeypatch.setattr(lot_process.signal, "signal", lambda *a: None)
    lot_process.measure_lot(str(tmp_path), str(lot.folder), "crane.toml", lot_process.Remembered())
    assert lot.state()["state"] == "stopped" and lot.state()["done"] == 3


def test_a_real_worker_answers_dies_and_is_replaced(tmp_path: Path) -> None:
    from compare.desk.work.worker_pool import WorkerPool, WorkFailed

    async def play() -> list[str]:
        pool = WorkerPool(count=1, target=odd_worker)
        told = [await pool.run("echo", "a")]
        for name in ("die", "hang", "break", "refuse"):
            with pytest.raises(WorkFailed) as err:
                await pool.run(name, seconds=0.5 if name == "hang" else 20)
            told.append(err.value.line or err.value.kind)
        told.append(await pool.run("echo", "b"))
        pool.close()
        return told

    assert asyncio.run(play()) == ["a", "died", "time", "KeyError", "one line", "b"]
