"""A desk without workers: checks are done at once, by made-up profiles in place of photographs."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from starlette.testclient import TestClient

from compare.design.load_spec import load_spec
from compare.desk.desk_app import desk_app
from compare.desk.gate.desk_gate import Pass
from compare.desk.project.check_folder import ADVICE, ANSWER, DRAWN, PICTURE, REPORT, CheckFolder, write_json
from compare.desk.project.project_folder import Project, open_project
from compare.desk.work.photo_work import write_result
from compare.desk.work.worker_pool import WorkerPool, WorkFailed
from tests.helpers.made_inspections import inspection_of
from tests.helpers.made_profiles import profile_of

HOST = "127.0.0.1:8765"
ADVISED = {"name": "dummy.jpg", "sheet": True, "sill": False, "weak": []}
WRITTEN = (PICTURE, DRAWN, REPORT, ANSWER)
DONE: dict[tuple[object, ...], dict[str, bytes]] = {}  # what was made once is copied
JPEG = b"\xff\xd8\xff\xe0" + bytes(range(200))


@dataclass(eq=False)
class FakePool(WorkerPool):
    """Answers as told; `faults` are those of the next dummy, `refusal` or `broken` what happens instead."""

    faults: Mapping[str, float] = field(default_factory=dict)
    refusal: str = ""
    broken: str = ""
    calls: list[str] = field(default_factory=list)

    async def warm(self, after: float) -> None:
        pass

    async def run(self, name: str, *args: Any, about: str = "", seconds: float = 0) -> Any:
        self.calls.append(name)
        if self.broken:
            raise WorkFailed(self.broken)
        if self.refusal:
            raise WorkFailed("refused", self.refusal)
        if name != "do_check":
            raise AssertionError(name)
        folder = CheckFolder(Path(args[0]))
        write_json(folder.folder / ADVICE, {"photos": [ADVISED]})
        key = folder.spec.read_text(encoding="utf-8"), *sorted(self.faults.items())
        if key not in DONE:
            spec = load_spec(folder.spec)
            write_result(folder.folder, inspection_of(profile_of(spec, self.faults), spec))
            DONE[key] = {name: (folder.folder / name).read_bytes() for name in WRITTEN}
        for name, data in DONE[key].items():
            (folder.folder / name).write_bytes(data)
        return "done"


@dataclass(eq=False)
class OpenDesk:
    """A client that has come in by the printed address."""

    client: TestClient
    project: Project
    pool: FakePool
    entry: Pass

    def post(self, path: str, data: Mapping[str, str] | None = None, **more: Any) -> Any:
        """Post a form as our own pages do."""
        fields = {"form_token": self.entry.form, **(data or {})}
        headers = {"origin": f"http://{HOST}", **more.pop("headers", {})}
        return self.client.post(path, data=fields, headers=headers, **more)

    def bring(self, dummy: str, name: str = "IMG_0001.jpg", content: bytes = JPEG, **more: Any) -> Any:
        """Bring one photo."""
        return self.post(
            f"/dummies/{dummy}/photos", files=[("photos", (name, content, "image/jpeg"))], **more
        )


def open_desk(folder: Path) -> OpenDesk:
    """Open a desk in a folder, and come in."""
    project, pool = open_project(folder), FakePool()
    entry = Pass(hosts=frozenset({HOST}), cookie="desk_8765")
    client = TestClient(desk_app(project, entry, pool), base_url=f"http://{HOST}")
    client.__enter__()
    assert client.get(f"/?token={entry.token}").status_code == 200
    return OpenDesk(client, project, pool, entry)
