"""Random photos made to order: several views or openings of one dummy, framing, near ends (no renderer)."""

import numpy as np
import pytest

from capture.camera.view import View
from sample_images.rendering.chance.catalogue import random_shot, spec_text
from sample_images.rendering.chance.random_series import Wish, artwork, feasible, granted, openings, views
from sample_images.rendering.scene.staging import Shot, stage, truth


def view_of(shot: Shot) -> View:
    return stage(shot).camera.view()


@pytest.mark.parametrize("seed", range(540, 546))
def test_views_move_the_camera_and_nothing_else(seed: int) -> None:
    wish = Wish(px_per_mm=(8.0, 11.0), uneven_mm=1.0, pen=True)
    shots = views(granted(random_shot("soft", seed, "arch"), wish, room=True), 3)
    assert [s.name[-2:] for s in shots] == ["-a", "-b", "-c"]
    first = truth(shots[0], stage(shots[0]))
    eyes = np.array([view_of(s).eye_mm() for s in shots])
    for shot, eye in zip(shots[1:], eyes[1:], strict=True):
        t = truth(shot, stage(shot))
        for key in ("joints_mm", "near_end_z_mm", "lengths_mm", "print_scale", "spec"):
            assert t[key] == first[key]
        # seen from the dummy, the eye is 10-25 % of the distance further aside or up
        far = np.linalg.norm(eyes[0])
        assert 0.10 < np.linalg.norm(eye / np.linalg.norm(eye) - eyes[0] / far) < 0.29
    assert (eyes[1, 0] - eyes[0, 0]) * (eyes[2, 0] - eyes[0, 0]) < 0


@pytest.mark.parametrize("seed", range(550, 556))
def test_openings_share_lengths_and_near_ends(seed: int) -> None:
    shot = random_shot("soft", seed, "arch")
    assert feasible(shot, (180.0, 100.0))
    flat, half = openings(shot, (180.0, 100.0))
    a, b = truth(flat, stage(flat)), truth(half, stage(half))
    del a["lengths_mm"]["feet"], b["lengths_mm"]["feet"]  # the distance through the air does change
    assert a["lengths_mm"] == pytest.approx(b["lengths_mm"], abs=1e-9)
    # the plane's middle line lies a thickness off its joints, so its arc length is a little different
    assert a["near_end_z_mm"] == pytest.approx(b["near_end_z_mm"], abs=0.01)
    assert a["opening_deg"] == 180.0 and b["opening_deg"] == pytest.approx(100.0, abs=4.0)
    assert a["spec"] == b["spec"] and "opening = 180" in spec_text(half)
    px = np.array(list(b["joints_px"].values()))
    assert (px > 0).all() and (px < np.array(b["size"])).all()


@pytest.mark.parametrize(("low", "high"), [(8.0, 11.0), (4.0, 8.0)])
@pytest.mark.parametrize("seed", range(560, 566))
def test_framing_is_as_asked(low: float, high: float, seed: int) -> None:
    shot = granted(random_shot("coloured", seed, "arch"), Wish(px_per_mm=(low, high)))
    scale = view_of(shot).px_per_mm(np.zeros(2))
    assert low * 0.97 <= scale <= high * 1.03


def test_near_ends_are_as_asked_and_stated_in_the_spec() -> None:
    spread = {}
    for name, wish in (("flush", Wish(flush=True)), ("uneven", Wish(uneven_mm=1.0))):
        shots = [granted(random_shot("soft", s, "arch"), wish) for s in range(570, 590)]
        ends = [z for s in shots for k, z in stage(s).near.items() if not k.startswith("page")]
        spread[name] = float(np.std(ends))
    assert spread["flush"] < 0.12
    assert 0.8 < spread["uneven"] < 1.2  # some 130 draws with sd 1: five standard errors
    assert "near_end_spread = 0.1" in spec_text(granted(random_shot("soft", 570, "arch"), Wish(flush=True)))
    assert "near_end_spread = 1\n" in spec_text(granted(random_shot("soft", 570), Wish(uneven_mm=1.0)))


def test_artwork_is_a_reflectance_with_ink_on_it() -> None:
    art = artwork(np.random.default_rng(1))
    assert art.shape == (2048, 2048, 3) and art.min() >= 0.0 and art.max() <= 1.0
    assert art.std() > 0.05
