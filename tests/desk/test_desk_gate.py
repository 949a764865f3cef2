"""Who comes in: token, cookie, host, origin, form token; what is brought: bounded, known by first bytes."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.routing import Route

from compare.desk.desk_app import routes
from compare.desk.gate.desk_gate import DeskGate
from compare.desk.gate.form_intake import suffix_of
from tests.desk.fake_desk import HOST, JPEG, OpenDesk, open_desk
from tests.helpers.made_profiles import TWO_SIDED


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[OpenDesk]:
    out = open_desk(Path(tmp_path_factory.mktemp("gate")))
    out.project.add_dummy("crane", TWO_SIDED)
    (out.project.root / "lots" / "l").mkdir(parents=True)
    yield out
    out.client.__exit__()


def test_without_the_token_nothing_is_shown(desk: OpenDesk) -> None:
    cookies = dict(desk.client.cookies)
    desk.client.cookies.clear()
    for path in ("/", "/?token=wrong", "/static/desk.css", "/dummies/crane", "/nothing"):
        answer = desk.client.get(path)
        assert answer.status_code == 403 and "crane" not in answer.text
    desk.client.cookies.update(cookies)
    assert desk.client.get("/").status_code == 200


def test_the_cookie_is_for_no_script_and_no_other_site(desk: OpenDesk) -> None:
    answer = desk.client.get(f"/?token={desk.entry.token}", follow_redirects=False)
    assert answer.status_code == 303 and answer.headers["location"] == "/"
    told = answer.headers["set-cookie"].lower()
    assert "httponly" in told and "samesite=strict" in told and desk.entry.token not in told


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", f"{HOST}.evil.example", "127.0.0.1:1"])
def test_another_host_is_turned_away(desk: OpenDesk, host: str) -> None:
    assert desk.client.get("/", headers={"host": host}).status_code == 421


def changing() -> list[str]:
    found = [r.path for r in routes() if isinstance(r, Route) and "POST" in (r.methods or ())]
    assert len(found) >= 10
    return [p.format(dummy="crane", check="2026-11-28-1", start="two-legs", lot="l") for p in found]


@pytest.mark.parametrize("path", changing())
def test_every_change_wants_our_origin_and_the_form_token(desk: OpenDesk, path: str) -> None:
    desk.bring("crane")  # so that the check is there
    ours = {"origin": f"http://{HOST}"}
    for headers in ({}, {"origin": "http://evil.example"}, {"origin": "null"}):
        assert (
            desk.client.post(path, data={"form_token": desk.entry.form}, headers=headers).status_code == 403
        )
    for data in ({}, {"form_token": "wrong"}):
        assert desk.client.post(path, data=data, headers=ours).status_code == 403
    assert desk.project.dummy("crane") is not None


def test_every_answer_carries_our_policy(desk: OpenDesk) -> None:
    for path in ("/", "/static/desk.css", "/nothing", "/set-up"):
        headers = desk.client.get(path).headers
        assert "default-src 'none'" in headers["content-security-policy"]
        assert "unsafe" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"


def test_too_much_is_refused_whatever_was_announced(desk: OpenDesk, monkeypatch: pytest.MonkeyPatch) -> None:
    gate = desk.client.app
    assert isinstance(gate, DeskGate)
    monkeypatch.setattr(gate, "_most", 100_000)
    assert desk.bring("crane", content=JPEG + bytes(200_000)).status_code == 413
    headers = {"origin": f"http://{HOST}", "content-type": "multipart/form-data; boundary=x"}
    sent = desk.client.post(
        "/dummies/crane/photos", content=iter([b"--x\r\n", *[bytes(50_000)] * 4]), headers=headers
    )
    assert sent.status_code == 413


@pytest.mark.parametrize("content", [b"", b"GIF89a....", b"<svg onload=alert(1)>", b"MZ\x90", b"%PDF-1.7"])
def test_what_is_no_photo_is_refused(desk: OpenDesk, content: bytes) -> None:
    before = len(desk.project.dummies()[0].checks())
    answer = desk.bring("crane", content=content)
    assert answer.status_code == 422 and 'role="alert"' in answer.text
    assert len(desk.project.dummies()[0].checks()) == before


def test_kinds_are_known_by_first_bytes() -> None:
    assert suffix_of(b"\xff\xd8\xff\xe1") == ".jpg" and suffix_of(b"\x89PNG\r\n\x1a\n") == ".png"
    assert suffix_of(b"II*\x00") == suffix_of(b"MM\x00*") == ".tif"
    assert suffix_of(b"\0\0\0\x18ftypheic") == ".heic" and suffix_of(b"\0\0\0\x18ftypisom") == ""


@pytest.mark.parametrize(
    "name", ["../../evil.jpg", "..\\evil.jpg", "<img src=x onerror=alert(1)>.jpg", "a\x1b[2J.jpg", "x" * 400]
)
def test_a_hostile_name_is_text_and_nothing_else(desk: OpenDesk, name: str) -> None:
    assert desk.bring("crane", name=name).status_code == 200
    check = desk.project.dummies()[0].checks()[0]
    assert [p.name for p in check.folder.glob("photo-*")] == ["photo-1.jpg"]
    ((told, _),) = check.photos()
    assert "/" not in told and "\\" not in told and told.isprintable() and len(told) <= 120
    shown = desk.client.get(f"/dummies/crane/{check.name}").text
    assert "<img src=x" not in shown
