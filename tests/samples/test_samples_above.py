"""Scenes beyond the dummy on the table: the apron, the calibration board, a shut dummy (no renderer)."""

import json
import math
from pathlib import Path

import numpy as np
import pytest

from capture.sheet.apron import APRON_OUTER_MM, BOTTOM_MM
from capture.sheet.apron_pdf import APRON_PAGE_Y_MM
from capture.sheet.board import BOARD
from sample_images.rendering.cards.card_dummy import Build
from sample_images.rendering.cards.lying_shut import FULL, shut
from sample_images.rendering.chance.catalogue import random_shot
from sample_images.rendering.chance.random_series import Wish, granted
from sample_images.rendering.orrin.orrin_phone import FOLDER, SIZE, board_photos, ferry
from sample_images.rendering.orrin.orrin_shut import CLOSED
from sample_images.rendering.scene.hung import Hung, put_on, strip_of
from sample_images.rendering.scene.staging import stage, truth

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"

STRAIGHT = Hung(book_mm=35.0, shift_mm=(0.0, 0.0, 0.0), twist_deg=0.0)


@pytest.mark.parametrize("opening", [180.0, 150.0])
def test_apron_hangs_from_the_lower_surface_of_the_page_with_its_tick_at_the_spine(opening: float) -> None:
    build = Build(card_mm=0.3, base_mm=0.5)
    front, _ = strip_of(STRAIGHT, opening, build, (1.01, 0.98), (297.0, 210.0))
    h = math.radians(opening) / 2
    right = front.xyz[front.xyz[:, 0] * math.sin(h) - front.xyz[:, 1] * math.cos(h) > 40.0]
    normal, along = np.array([-math.cos(h), math.sin(h)]), np.array([math.sin(h), math.cos(h)])
    assert (right[:, :2] @ normal).max() == pytest.approx(-(0.15 + 0.5), abs=1e-9)
    assert (right[:, :2] @ along).max() == pytest.approx(1.01 * APRON_OUTER_MM, abs=1e-9)
    assert (right[:, :2] @ normal).min() == pytest.approx(-0.65 + 0.98 * BOTTOM_MM, abs=1e-9)
    # the picture on it is where the PDF's page has it
    if opening == 180.0:
        page = (front.uv - 0.5) * [297.0, 210.0] - [0.0, APRON_PAGE_Y_MM]
        assert page * [1.01, 0.98] + [0.0, -0.65] == pytest.approx(front.xyz[:, :2], abs=1e-9)


def test_a_dummy_with_an_apron_is_raised_and_says_so() -> None:
    plain = random_shot("soft", 560, "arch")
    raised = granted(plain, Wish(apron=True))
    low, high = truth(plain, stage(plain)), truth(raised, stage(raised))
    assert "apron" not in low and high["apron"]["book_mm"] >= -BOTTOM_MM + 1
    lift = high["joints_mm"]["spine"][1] - low["joints_mm"]["spine"][1]
    assert lift == pytest.approx(high["apron"]["book_mm"], abs=0.1)  # along the table's normal: it may roll
    assert low["lengths_mm"] == pytest.approx(high["lengths_mm"], abs=1e-9)
    book = next(p for p in stage(raised).parts if p.stuff == "book")
    assert book.mesh.xyz[:, 2].max() == pytest.approx(0.0)


def test_aprons_are_put_on_as_well_as_the_capture_room_believes() -> None:
    rng = np.random.default_rng(3)
    shifts = np.array([put_on(rng).shift_mm for _ in range(400)])
    assert shifts.std(axis=0) == pytest.approx([0.2, 0.1, 0.05], rel=0.15)


def test_board_photos_show_the_whole_board_aslant_rolled_and_all_over_the_frame() -> None:
    photos = board_photos(FULL)
    assert len({p.lens for p in photos}) == 1
    left, bottom, right, top = BOARD.ring
    corners = np.array([[x, y, 0.0] for x in (left, right) for y in (bottom, top)])
    seen = []
    for photo in photos:
        px = photo.camera().view(photo.print_scale).project(corners * [*photo.print_scale, 1.0])
        assert (px > 10).all() and (px < np.array(FULL) - 10).all(), photo.name
        seen.append(px / FULL)
    low, high = np.concatenate(seen).min(axis=0), np.concatenate(seen).max(axis=0)
    assert (low < 0.1).all() and (high > 0.9).all()
    leans = np.array([p.lean_deg for p in photos])
    assert (leans.max(axis=0) > 25).all() and (leans.min(axis=0) < -25).all()
    assert sum(60 < p.roll_deg % 180 < 120 for p in photos) >= 2


def test_a_shut_dummy_reaches_as_far_as_its_lengths_add_up() -> None:
    lengths = {
        f"{k} {s}": v for s in ("left", "right") for k, v in (
            ("page", 100.0), ("foot", 12.0), ("fold", 36.0), ("leg", 36.0), ("page spacing", 44.0),
            ("plane spacing", 44.0), ("plane", 50.0),
        )
    }  # fmt: skip
    parts, facts = shut(lengths, 60.0, 80.0, 0.3, 0.4)
    assert facts["protrusions"] == []
    xyz = np.concatenate([p.mesh.xyz for p in parts])
    assert xyz[:, 0].max() == pytest.approx(100.0)
    longer, told = shut(lengths | {"plane right": 57.5}, 60.0, 80.0, 0.3, 0.4)
    assert told["protrusions"] == [{"edge": "fore edge", "mm": 5.5, "from_mm": 0.0, "to_mm": 60.0}]
    xyz = np.concatenate([p.mesh.xyz for p in longer])
    assert xyz[:, 0].max() == pytest.approx(105.5)
    assert xyz[:, 2].max() == pytest.approx(told["thickness_mm"]) and xyz[:, 2].min() == 0.0


@pytest.mark.parametrize("photo", CLOSED, ids=lambda p: p.name)
def test_a_shut_dummy_lies_inside_the_ring(photo) -> None:  # type: ignore[no-untyped-def]
    xyz = np.concatenate([p.mesh.xyz for p in photo.parts])
    left, bottom, right, top = photo.sheet.window
    assert left < xyz[:, 0].min() and xyz[:, 0].max() < right
    assert bottom < xyz[:, 1].min() and xyz[:, 1].max() < top
    told = json.loads(json.dumps(photo.truth()))
    assert told["use"] == "closed" and told["protrusions"][0]["mm"] > 3.0
    assert (SAMPLES / told["spec"]).is_file()


@pytest.mark.parametrize("photo", board_photos(), ids=lambda p: p.name)
def test_board_photos_are_there_small_and_as_the_scene_gives_them(photo) -> None:  # type: ignore[no-untyped-def]
    stored = json.loads((SAMPLES / FOLDER / f"{photo.name}.truth.json").read_text())
    again = json.loads(json.dumps(photo.truth()))
    assert stored["lens"] == again["lens"] and stored["size"] == list(SIZE)
    assert stored["view_params"] == pytest.approx(again["view_params"], abs=1e-9)
    assert (SAMPLES / FOLDER / f"{photo.name}.jpg").stat().st_size <= 400_000


def test_the_ferry_was_taken_with_the_boards_lens() -> None:
    shot = ferry()
    stored = json.loads((SAMPLES / FOLDER / f"{shot.name}.truth.json").read_text())
    at = stage(shot)
    assert stored["joints_px"]["ridge"] == pytest.approx(truth(shot, at)["joints_px"]["ridge"], abs=1e-6)
    cam, board = at.camera, board_photos()[0].camera()
    assert (cam.f_px, cam.k1, cam.k2, cam.centre) == (board.f_px, board.k1, board.k2, board.centre)
    assert (SAMPLES / FOLDER / stored["spec"]).is_file()
