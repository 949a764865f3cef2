"""The sample photographs' truth files: complete, and at one with their own geometry (no renderer)."""

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from scipy.optimize import least_squares

from capture.camera.view import View
from sample_images.rendering.cards import own_linkage as linkage
from sample_images.rendering.cards.kinds import FOLD, HIDDEN
from sample_images.rendering.chance.catalogue import CLASSES, random_shot
from sample_images.rendering.orrin.orrin_mechanisms import MECHANISMS
from sample_images.rendering.orrin.orrin_quay import SAMPLES as PLAIN
from sample_images.rendering.orrin.orrin_shut import CLOSED
from sample_images.rendering.scene.staging import stage, truth

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"

SHOTS = (*PLAIN, *MECHANISMS)
KINDS = {s.name: s.kind for s in SHOTS}
SHUT = {c.name for c in CLOSED}
TRUTHS = sorted(p for p in SAMPLES.glob("*.truth.json") if p.name.split(".")[0] not in SHUT)
KEYS = {
    "use", "paper", "standoff_mm", "spec", "faults", "lengths_mm", "extra_arc_mm", "sagitta_mm", "angles_deg",
    "lean_deg", "opening_deg", "card_mm", "joints_mm", "joints_px", "near_end_z_mm", "print_scale",
    "bars_read_mm", "view_params", "size", "classes",
}  # fmt: skip
LAID = {"sill", "doorstep"}
SPREAD_KEYS = LAID | {
    "page_thickness_mm", "page_thickness_told_mm", "page_edge_in_front_of_near_ends_mm", "inked_near_ends",
    "ink",
    "near_end_sd_mm", "one_page_on_the_table", "standing", "calibrated", "nominal_mm", "sheet_with_sill",
    "joints_depth_mm", "tick_beside_spine_mm",
}  # fmt: skip


def load(path: Path) -> dict[str, Any]:
    out: dict[str, Any] = json.loads(path.read_text())
    return out


def test_every_sample_has_photo_truth_and_spec() -> None:
    names = {s.name for s in SHOTS}
    assert len(names) >= 24
    assert {p.name.removesuffix(".truth.json") for p in TRUTHS} == names
    assert {p.stem for p in SAMPLES.glob("*.jpg")} == names | SHUT
    for path in TRUTHS:
        assert (SAMPLES / load(path)["spec"]).is_file()


@pytest.mark.parametrize("path", TRUTHS, ids=lambda p: p.name.split(".")[0])
def test_truth_agrees_with_itself_and_with_its_photo(path: Path) -> None:
    t = load(path)
    spread = {"joints_depth_mm"} <= set(t)
    assert set(t) == KEYS | (SPREAD_KEYS & set(t)) and (not spread or SPREAD_KEYS - set(t) <= LAID)
    depth = t.get("joints_depth_mm", {})
    joints = {k: np.array([*v, depth.get(k, t["standoff_mm"])]) for k, v in t["joints_mm"].items()}
    ends = KINDS[path.name.split(".")[0]].ends
    seen = {k: ab for k, ab in ends.items() if not any(j.startswith(HIDDEN) for j in ab)}
    for name, (a, b) in seen.items():
        assert (name in t["lengths_mm"]) == (a in joints and b in joints)
        if name in t["lengths_mm"]:
            assert t["lengths_mm"][name] == pytest.approx(math.dist(joints[a], joints[b]), abs=1e-9)
    view = View(
        params=np.array(t["view_params"]),
        cov=np.zeros((13, 13)),
        size=tuple(t["size"]),
        rms_px=0.0,
        n_saddles=0,
    )
    names = list(joints)
    px = view.project(np.array([joints[k] for k in names]))
    assert set(t["joints_px"]) == set(names)
    assert np.abs(px - np.array([t["joints_px"][k] for k in names])).max() < 1e-6
    assert np.exp(view.params[11:13]) == pytest.approx(t["print_scale"], abs=1e-12)
    photo = path.with_name(path.name.replace(".truth.json", ".jpg"))
    assert photo.stat().st_size <= 2_000_000
    with Image.open(photo) as picture:
        assert list(picture.size) == t["size"] == [4000, 3000]


@pytest.mark.parametrize("shot", SHOTS, ids=lambda s: s.name)
def test_committed_truth_is_what_the_scene_gives(shot: Any) -> None:
    again = json.loads(json.dumps(truth(shot, stage(shot))))
    stored = load(SAMPLES / f"{shot.name}.truth.json")
    for key in ("lengths_mm", "near_end_z_mm", "joints_px"):
        assert stored[key].keys() == again[key].keys()
        for k, v in stored[key].items():
            assert v == pytest.approx(again[key][k], abs=1e-6)


def test_faults_are_in_the_lengths() -> None:
    for shot in SHOTS:
        for name, error in shot.faults.items():
            # hand-cut noise has sd 0.1 mm: five of them is a safe bound for these fixed seeds
            assert shot.lengths[name] - shot.nominal[name] == pytest.approx(error, abs=0.5)


def closed_by_force(lengths: dict[str, float], opening_deg: float, start: dict[str, Any]) -> dict[str, Any]:
    """Solve the linkage anew: all loose joints free, every length an equation, no closed form."""
    rigid = {k for k in start if k == "spine" or k.startswith(("fore", "inner", "outer"))}
    loose = [k for k in start if k not in rigid]
    rows = [(n, *linkage.LENGTHS[n]) for n in lengths if not {*linkage.LENGTHS[n]} <= rigid]

    def misfit(x: np.ndarray) -> np.ndarray:
        at = start | dict(zip(loose, x.reshape(-1, 2), strict=True))
        out = [math.dist(at[a], at[b]) - lengths[n] for n, a, b in rows]
        for s in linkage.SIDES:  # a plane half is flat: ridge, leg top and edge lie on one line
            if f"leg top {s}" in at:
                p, q = at[f"leg top {s}"] - at["ridge"], at[f"plane edge {s}"] - at["ridge"]
                out.append((p[0] * q[1] - p[1] * q[0]) / 50)
        return np.array(out)

    rng = np.random.default_rng(5)
    first = np.concatenate([start[k] for k in loose]) + rng.normal(size=2 * len(loose))
    fit = least_squares(misfit, first, xtol=1e-15, ftol=1e-15, gtol=1e-15)
    assert np.abs(fit.fun).max() < 1e-10
    return start | dict(zip(loose, fit.x.reshape(-1, 2), strict=True))


@pytest.mark.parametrize("shot", PLAIN, ids=lambda s: s.name)
def test_closed_form_agrees_with_brute_force_loop_closure(shot: Any) -> None:
    exact = linkage.solve(shot.lengths, shot.opening_deg)
    forced = closed_by_force(dict(shot.lengths), shot.opening_deg, exact)
    for name, at in exact.items():
        assert math.dist(at, forced[name]) < 1e-9


def test_linkage_against_closed_forms_of_the_exact_mechanism() -> None:
    # c = 12, B = 40, A = 60: ridge at c cos h + sqrt(B^2 - c^2 sin^2 h), leg top at ridge + A u
    n = {f"{k} {s}": v for s in linkage.SIDES for k, v in (
        ("page", 148.5), ("foot", 12.0), ("fold", 40.0), ("page spacing", 60.0), ("plane spacing", 60.0),
        ("leg", 40.0), ("plane", 75.0))}  # fmt: skip
    for opening in (180.0, 150.0, 120.0, 90.0, 60.0):
        h = math.radians(opening) / 2
        at = linkage.solve(n, opening)
        ridge = 12 * math.cos(h) + math.sqrt(1600 - 144 * math.sin(h) ** 2)
        assert at["ridge"] == pytest.approx([0.0, ridge], abs=1e-9)
        assert at["leg top right"] == pytest.approx([60 * math.sin(h), ridge + 60 * math.cos(h)], abs=1e-9)
        assert FOLD.leans_of(at) == pytest.approx({"left": 0.0, "right": 0.0}, abs=1e-9)
    short = linkage.solve(n | {"leg right": 38.0}, 180.0)
    assert FOLD.leans_of(short)["right"] == pytest.approx(-2.0196, abs=5e-5)  # exact four-bar, four decimals


@pytest.mark.parametrize("photo", CLOSED, ids=lambda c: c.name)
def test_a_shut_dummys_truth_is_what_the_scene_gives(photo: Any) -> None:
    stored = load(SAMPLES / f"{photo.name}.truth.json")
    again = json.loads(json.dumps(photo.truth()))
    assert stored.keys() == again.keys()
    assert stored["protrusions"] == again["protrusions"]
    assert stored["view_params"] == pytest.approx(again["view_params"], abs=1e-9)
    jpg = SAMPLES / f"{photo.name}.jpg"
    assert jpg.stat().st_size <= 2_000_000


@pytest.mark.parametrize("kind", CLASSES)
def test_random_shots_are_complete_and_repeatable(kind: str) -> None:
    for seed in (3, 1003):
        shot, again = random_shot(kind, seed), random_shot(kind, seed)
        first, second = truth(shot, stage(shot)), truth(again, stage(again))
        assert first == second
        assert set(first) == KEYS
        px = np.array(list(first["joints_px"].values()))
        assert (px > 0).all() and (px < np.array(first["size"])).all()
