"""The renderer's own mechanisms against the design room's: two independent solutions of the same dummies."""

import math
from pathlib import Path

import numpy as np
import pytest

from compare.design.load_spec import load_spec
from sample_images.rendering.cards.kinds import HIDDEN
from sample_images.rendering.cards.planar_kinds import STAGES, STAGES_CARD_MM
from sample_images.rendering.cards.spatial_kinds import VFOLD, VFOLD_UNEVEN, slab
from sample_images.rendering.orrin.orrin_mechanisms import MECHANISMS
from sample_images.rendering.scene.staging import Shot, stage

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"

NAMES = [s.name for s in MECHANISMS]
# glue lines are given by their width in the spec and by their reach across in the photo
PLANAR = [s for s in MECHANISMS if s.kind not in (VFOLD, VFOLD_UNEVEN)]


@pytest.mark.parametrize("shot", MECHANISMS, ids=NAMES)
def test_nominal_lengths_are_those_of_the_spec(shot: Shot) -> None:
    spec = load_spec(SAMPLES / shot.spec)
    mechanism = spec.mechanism
    nominal = shot.kind.lengths_of(shot.kind.solve(shot.nominal, shot.nominal_opening))
    shared = set(nominal) & set(mechanism.lengths)
    assert len(shared) >= 7
    assert {k: mechanism.lengths[k] for k in shared} == pytest.approx(
        {k: nominal[k] for k in shared}, abs=0.011
    )
    spec = load_spec(SAMPLES / shot.spec)
    assert spec.base.opening_deg == shot.nominal_opening


@pytest.mark.parametrize("shot", PLANAR, ids=lambda s: s.name)
def test_two_solvers_put_the_true_joints_in_the_same_place(shot: Shot) -> None:
    mechanism = load_spec(SAMPLES / shot.spec).mechanism
    joints = shot.kind.solve(shot.lengths, shot.opening_deg)
    true = shot.kind.lengths_of(joints)
    # a leg that is too long bows: its card, not its chord, is what the linkage knows
    given = dict(mechanism.lengths) | {k: v for k, v in true.items() if k in mechanism.lengths}
    if shot.name == "pillar":  # the tip carries the plane: its height over the upright panel
        given |= {"crease near": true["height"], "crease far": true["height"]}
    pose = mechanism.solve(given, math.radians(shot.opening_deg))
    for name, at in joints.items():
        if name.startswith(HIDDEN):
            continue
        layers = 2 * STAGES_CARD_MM * (int(name.split()[1]) - 1) if name.startswith("stage ") else 0.0
        # the design room's linkage is without thickness; here a stage stands on two layers of card
        assert math.dist(at, pose.joints[name]) == pytest.approx(layers, abs=0.02), name
    leans = {k: math.degrees(float(v)) for k, v in pose.lean.items()}
    assert shot.kind.leans_of(joints) == pytest.approx(leans, abs=0.02)


@pytest.mark.parametrize(
    "shot", [s for s in MECHANISMS if s.kind in (VFOLD, VFOLD_UNEVEN)], ids=lambda s: s.name
)
def test_a_v_folds_plane_lies_on_its_panels_top_lines(shot: Shot) -> None:
    joints = shot.kind.solve(shot.lengths, 180.0)
    glue = (45.0, 45.0) if shot.kind is VFOLD else (40.0, 50.0)
    crease = []
    for side, sign, angle in zip(("left", "right"), (-1.0, 1.0), glue, strict=True):
        t = math.radians(angle)
        line = np.array([sign * math.sin(t), 0.0, math.cos(t)])  # V point to near end; so is the top line
        ridge, edge, top = (
            np.array([*joints[k], 0.0]) for k in ("ridge", f"plane edge {side}", f"vfold top {side}")
        )
        normal = np.cross(edge - ridge, line)
        normal /= np.linalg.norm(normal)
        assert normal @ (top - ridge) == pytest.approx(0.0, abs=0.02)
        if f"leg top {side}" in joints:
            assert normal @ (np.array([*joints[f"leg top {side}"], 0.0]) - ridge) == pytest.approx(
                0.0, abs=2e-3
            )
        crease.append(normal)
    # both halves meet in one crease, which runs fore and aft over the spine and may nod, but not swing aside
    along = np.cross(*crease)
    along /= np.linalg.norm(along)
    assert abs(along[0]) < 2e-3
    nod = math.degrees(math.asin(abs(along[1])))
    assert nod < 0.5 if not shot.faults else nod > 2.0


def test_a_slab_has_its_corners_in_the_middle_surface() -> None:
    corners = np.array([[0.0, 0, 0], [30.0, 0, 0], [30.0, 20, 5], [0.0, 20, 5]])
    faces, cuts = slab(corners, 0.4)
    assert np.ptp(faces.xyz @ np.cross([1.0, 0, 0], [0.0, 20, 5]) / math.hypot(20, 5)) == pytest.approx(0.4)
    assert cuts.xyz.mean(axis=0) == pytest.approx(corners.mean(axis=0))


@pytest.mark.parametrize("shot", MECHANISMS, ids=NAMES)
def test_card_stands_on_the_table_and_in_front_of_nothing(shot: Shot) -> None:
    at = stage(shot)
    low = min(p.mesh.xyz[:, 1].min() for p in at.parts)
    assert low == pytest.approx(at.table_y, abs=0.05)
    # near ends are cut by hand with sd 0.3 mm and may be off square; nothing reaches far into the sheet
    assert max(p.mesh.xyz[:, 2].max() for p in at.parts) < 2.0


def test_stages_stand_on_the_plane_below() -> None:
    shot = next(s for s in MECHANISMS if s.kind is STAGES)
    joints = shot.kind.solve(shot.nominal, 180.0)
    for k in (2, 3):
        below = "" if k == 2 else "stage 2 "
        rise = joints[f"stage {k} inner foot right"][1] - joints[f"{below}ridge"][1]
        assert rise == pytest.approx(2 * STAGES_CARD_MM, abs=1e-9)
