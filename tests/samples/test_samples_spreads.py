"""Random photos of real spreads: how sheet, sill and page stand to each other, and what the truth says."""

import json
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from compare.design.load_spec import load_spec
from sample_images.rendering.cards.card_dummy import Build, Part
from sample_images.rendering.cards.inked_ends import Ink
from sample_images.rendering.chance.random_spreads import SPREADS, random_spread
from sample_images.rendering.scene.staging import Shot, stage, truth
from sample_images.rendering.scene.standing import page_rise, page_top, spine_height


def points(parts: list[Part], stuff: str) -> np.ndarray:
    return np.concatenate([p.mesh.xyz for p in parts if p.stuff.startswith(stuff)])


@pytest.mark.parametrize("kind", SPREADS)
@pytest.mark.parametrize("seed", [9100, 9101, 9102])
def test_spec_and_truth_of_a_random_spread_are_whole(kind: str, seed: int, tmp_path: Path) -> None:
    shot, text = random_spread(kind, seed)
    again, _ = random_spread(kind, seed)
    assert again == replace(shot, sensor=again.sensor)
    spec = tmp_path / "spec.toml"
    spec.write_text(text)
    load_spec(spec)
    assert ("thickness" in tomllib.loads(text)["base"]) == (shot.told is not None)
    told = json.loads(json.dumps(truth(shot, stage(shot))))
    assert told["page_edge_in_front_of_near_ends_mm"] == shot.build.setback_mm
    assert told["inked_near_ends"] == kind.endswith("_ink")
    for name, value in shot.lengths.items():
        along = told["lengths_mm"][name] + told["extra_arc_mm"].get(name, 0.0)
        # a V-fold's plane follows the tighter of its legs, so the other one hangs a little
        assert along == pytest.approx(value, abs=0.4 if "vfold" in shot.classes else 0.02)


@pytest.mark.parametrize("seed", range(9110, 9114))
def test_a_folded_band_hangs_together_with_the_sheet_and_lies_on_the_page(seed: int) -> None:
    shot, _ = random_spread("folded", seed)
    at = stage(shot)
    (piece,) = at.pieces
    ends = np.array([piece.origin + u * piece.along for u in piece.span])
    # the fold lies in the sheet's own plane, at its place on the paper
    assert np.abs(ends[:, 2]).max() < 1e-9
    on_paper = piece.on_paper(np.array([[u, 0.0] for u in piece.span]))
    assert np.abs(ends[:, :2] - on_paper).max() < 1e-6
    # over the table it runs level with the page's top surface where they touch, and above it at the spine
    over = (ends - at.table_shift) @ at.table_rot
    page = points(at.parts, "base") @ at.rot.T + at.shift
    top = ((page - at.table_shift) @ at.table_rot)[:, 1].max()
    assert 0.0 < over[:, 1].mean() - top < 0.6
    assert 28.0 < piece.depth_mm < 46.0
    spine = at.points["spine"]
    assert spine[0] == pytest.approx(-shot.sill.tick_off_mm, abs=0.1)


@pytest.mark.parametrize("seed", range(9114, 9118))
def test_halves_of_a_sill_and_of_a_doorstep_come_down_on_their_pages(seed: int) -> None:
    for kind in ("sill", "doorstep"):
        shot, _ = random_spread(kind, seed)
        at = stage(shot)
        pieces = at.pieces or at.steps
        assert len(pieces) == 2
        for piece in pieces:
            ends = np.array([piece.origin + u * piece.along for u in piece.span])
            over = (ends - at.table_shift) @ at.table_rot
            for x, y, z in over:
                under = page_top(x, shot.opening_deg, 0.0, shot.build)
                # a half sheet may overhang its page, which rises toward the fore edge
                assert -0.05 < y - under < 1.2 or abs(x) > 0.9 * shot.lengths["page left"]
                assert abs(z) < 4.0
            if kind == "sill":  # its fold stays in the sheet's plane
                assert np.abs(ends[:, 2]).max() < 0.02
        tick = min((p.lies_at(np.array([0.0, p.pivot[1]])) for p in pieces), key=lambda p: abs(p[0]))
        off = (shot.sill or shot.doorstep).tick_off_mm
        spine = at.points["spine"]
        assert tick[0] - spine[0] == pytest.approx(off, abs=0.15)


@pytest.mark.parametrize("seed", range(9120, 9126))
def test_raised_pages_stand_on_the_table_and_on_their_blocks(seed: int) -> None:
    shot, _ = random_spread("raised", seed)
    at = stage(shot)

    def over_table(stuff: str) -> np.ndarray:
        return (points(at.parts, stuff) @ at.rot.T + at.shift - at.table_shift) @ at.table_rot

    assert over_table("base")[:, 1].min() == pytest.approx(0.02, abs=0.4)
    rises = {s: page_rise(shot.opening_deg, shot.standing.tip_deg, s) for s in ("left", "right")}
    assert sum(rises.values()) == pytest.approx(180 - shot.opening_deg)
    blocks = over_table("prop")
    assert blocks[:, 1].min() == pytest.approx(0.0, abs=1e-6)
    if min(rises.values()) < 0.01:  # that page lies flat
        side = min(rises, key=lambda s: rises[s])
        edge = at.points[f"fore edge {side}"]
        height = ((edge - at.table_shift) @ at.table_rot)[1]
        assert height == pytest.approx(
            spine_height(shot.opening_deg, shot.standing.tip_deg, shot.build), abs=0.01
        )


def test_ink_lies_on_the_near_ends_alone_and_leaves_the_card_as_it_was() -> None:
    plain, _ = random_spread("spread", 9130)
    bare = stage(plain)
    shot: Shot = replace(
        plain, build=replace(plain.build, ink=Ink(spread_mm=0.1, gaps=0.1, thin=0.2, seed=5))
    )
    inked = stage(shot)
    assert inked.near == bare.near
    strips = np.concatenate([points(inked.parts, k) for k in ("card", "plane", "base")])
    assert np.abs(strips.max(axis=0) - np.concatenate(
        [points(bare.parts, k) for k in ("card", "plane", "base")]).max(axis=0)).max() < 0.05  # fmt: skip
    film = np.concatenate([points(inked.parts, "ink"), points(inked.parts, "thin ink")])
    near = max(abs(z) for z in bare.near.values()) + shot.build.setback_mm + 3.0
    assert film[:, 2].min() > -near
    assert isinstance(shot.build, Build)
