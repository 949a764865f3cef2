"""What a worker process does: checks a folder's photos, tries joints set by hand, traces a photo.

Everything comes and goes as plain values, and results are files of the check's folder.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from capture.advice import advise
from capture.camera.camera_file import read_camera
from capture.errors import FoldgaugeError
from capture.files import FileBytes, read_whole
from capture.photo import MAX_FILE_BYTES, read_photo
from capture.setup import Setup
from capture.solved import Solved, solve_photo
from capture.untrusted_photo import read_untrusted
from compare.desk.project.check_folder import (
    ADVICE,
    ANSWER,
    DRAWN,
    PICTURE,
    POINTS,
    REPORT,
    CheckFolder,
    refuse,
    write_json,
    write_part,
)
from compare.desk.words.desk_option_names import desk_line
from compare.desk.work.photo_drawing import cut_photo, drawn_of
from compare.jobs.check_dummy import Inspection, check
from compare.jobs.hand_marks import marked
from compare.jobs.measure_dummy import measure
from compare.jobs.several_photos import gather
from compare.quantities.measured import measured_of
from compare.tell.check.check_json import findings_dict, inspection_dict
from compare.tell.check.check_page import report_html
from compare.tell.trace.starter_spec import write_draft
from compare.verdict.conformity import Rule
from compare.verdict.findings import compare_profile
from measure.joints.by_hand import HandPoint, read_points, require_sound, with_hand_points

_last: list[tuple[str, Inspection]] = []
"""The check this process did last, so that a joint can be dragged without measuring everything again."""


def ready() -> None:
    """Do nothing: asked for, so that a fresh process has loaded everything."""


def do_check(folder: str) -> str:
    """Do a check; return its state: "done" or "refused"."""
    there = CheckFolder(Path(folder))
    try:
        inspection = _inspect(there)
    except FoldgaugeError as err:
        refuse(there.folder, desk_line(err))
        return "refused"
    write_result(there.folder, inspection)
    _last[:] = [(folder, inspection)]
    return "done"


def write_result(folder: Path, inspection: Inspection) -> None:
    """Write what came out of a check; the answer last, for it says that all is there."""
    picture, drawn = cut_photo(inspection), drawn_of(inspection)
    report, told = report_html(inspection), inspection_dict(inspection)
    write_part(folder / PICTURE, picture)
    write_json(folder / DRAWN, drawn)
    write_part(folder / REPORT, report.encode("utf-8"))
    write_json(folder / ANSWER, told, indent=2)


def _setup(there: CheckFolder, asked: Mapping[str, Any]) -> Setup:
    camera = asked.get("camera")
    return Setup(
        use=asked.get("use", "auto"),
        standoff_mm=asked.get("standoff"),
        bars_mm=tuple(asked["bars"]) if asked.get("bars") else None,
        camera=read_camera(there.folder / Path(str(camera)).name) if camera else None,
    )


def _inspect(there: CheckFolder) -> Inspection:
    """Read, find, advise, measure and compare."""
    asked = there.asked()
    setup = _setup(there, asked)
    solved: list[Solved] = []
    rows: list[dict[str, Any]] = []
    read = read_photo if asked.get("brought_by") == "desk" else read_untrusted
    files = [FileBytes(name, read_whole(path, MAX_FILE_BYTES)) for name, path in there.photos()]
    shut = files.pop() if asked.get("last_photo_shut") and len(files) > 1 else None
    for file in files:
        try:
            one = solve_photo(read(file), setup)
        except FoldgaugeError as err:
            rows.append({"name": file.name, "sheet": False, "line": desk_line(err)})
            write_json(there.folder / ADVICE, {"photos": rows})
            raise
        solved.append(one)
        rows.append({"name": file.name, **seen(one)})
    write_json(there.folder / ADVICE, {"photos": rows})
    points = read_points(there.folder / POINTS) if (there.folder / POINTS).is_file() else ()
    return check(
        solved,
        there.spec,
        setup,
        rule=asked.get("rule", "guarded"),
        points=points,
        closed=None if shut is None else read(shut),
    )


def seen(solved: Solved) -> dict[str, Any]:
    """Return what was seen of the sheet in one photo, as facts: what is weak, the costliest first."""
    advice = advise(solved.view, solved.sighting)
    return {
        "sheet": True,
        "sill": bool(solved.sighting.sill) or solved.sighting.apron != (),
        "weak": [
            {
                "kind": a.kind.name,
                "strong": a.strong,
                "amount": round(a.amount, 3),
                "px": round(a.px, 2),
                "count": a.count,
                "of": a.count_of,
                "cost_mm": round(a.cost_mm, 3),
            }
            for a in advice
        ],
    }


def try_points(folder: str, points: Sequence[tuple[str, float, float]]) -> dict[str, Any]:
    """Return what would come out with these joints (name, x, y; pixels of the photo) set by hand.

    Everything after the joints is worked out anew; what the machine measured elsewhere stays. Without any
    joint nothing changes, but the photo is at hand from then on.

    Raises
    ------
    FoldgaugeError : an unknown joint, or a place outside the photo.
    """
    there = CheckFolder(Path(folder))
    if not _last or _last[0][0] != folder:
        _last[:] = [(folder, _inspect(there))]
    inspection = with_points(_last[0][1], [HandPoint(joint=j, x_px=x, y_px=y) for j, x, y in points])
    told = {**findings_dict(inspection.findings), "notes": []}
    return {"answer": told, "drawn": drawn_of(inspection, moving=False)}


def with_points(inspection: Inspection, points: Sequence[HandPoint]) -> Inspection:
    """Return a check with joints set by hand, everything after the joints worked out anew."""
    shot, spec = inspection.shots[0], inspection.spec
    require_sound(points, shot.profile.joints, shot.photo.size)
    profile = with_hand_points(
        shot.profile,
        points,
        shot.view,
        near_end_sd_mm=spec.card.near_end_spread,
        standoff_err_mm=shot.placing.standoff_err_mm,
    )
    shot = replace(shot, profile=profile, measured=measured_of(profile, spec))
    gathered = gather((shot,), spec)
    findings = compare_profile(
        gathered.profile, spec, rule=Rule(inspection.findings.rule), measured=gathered.measured
    )
    return replace(inspection, shots=(shot,), gathered=gathered, findings=marked(findings, profile.by_hand))


def trace_photo(name: str, path: str, bars_mm: Sequence[float]) -> str:
    """Return the text of a starter spec traced from a photo.

    Raises
    ------
    FoldgaugeError : one line on what is wrong with the photo, or that nothing with a name was recognised.
    """
    setup = Setup(bars_mm=tuple(bars_mm) or None)
    tracing = measure(FileBytes(name, read_whole(Path(path), MAX_FILE_BYTES)), setup)
    with TemporaryDirectory(prefix="foldgauge-desk-") as folder:
        draft = Path(folder) / "traced.toml"
        write_draft(tracing, draft)
        return draft.read_text(encoding="utf-8")
