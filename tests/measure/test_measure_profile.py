"""The whole measurement on path-traced sample photos with known truth, and on photos that do not fit."""

import json
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from capture.arrays import Pixels
from capture.camera.adjust import solve_view
from capture.camera.view import View
from capture.photo import Photo, photo_of_array, read_photo
from capture.sheet.print_scale import PrintScale
from capture.sight.sighting import Sighting, find_sheet
from compare.design.expected_layout import layout_of
from compare.design.load_spec import load_spec
from measure.guided.measure_profile import measure_profile
from measure.layout import Layout, Role
from measure.measure_errors import MeasureError
from measure.profile import Profile
from measure.region import search_region

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
NAMES = ("good_arch", "short_leg", "propped", "dark_card")

pytestmark = pytest.mark.photo


@dataclass(frozen=True, slots=True, eq=False)
class Sample:
    """A sample photo with its solved view and its truth; its bars were read with a rule."""

    photo: Photo
    sighting: Sighting
    view: View
    truth: dict[str, Any]
    layout: Layout

    def measured(self, layout: Layout | None = None, photo: Photo | None = None) -> Profile:
        return measure_profile(
            photo or self.photo,
            self.view,
            layout or self.layout,
            self.sighting.sheet,
            arch=True,
            blur_px=self.sighting.blur_px,
        )


@cache
def sample(name: str) -> Sample:
    """Read and solve a photo once per session."""
    truth = json.loads((SAMPLES / f"{name}.truth.json").read_text())
    photo = read_photo(SAMPLES / f"{name}.jpg")
    sighting = find_sheet(photo)
    view = solve_view(photo, sighting, PrintScale.from_bars(sighting.sheet, *truth["bars_read_mm"]))
    return Sample(photo, sighting, view, truth, layout_of(load_spec(SAMPLES / truth["spec"])))


@cache
def profile(name: str) -> Profile:
    return sample(name).measured()


def lengths(layout: Layout) -> dict[str, tuple[str, str]]:
    """Length name -> its two joints, for the lengths that a flat, unmarked base shows."""
    out = {}
    for side in ("left", "right"):
        out[f"fold {side}"] = (f"inner foot {side}", "ridge")
        out[f"page spacing {side}"] = (f"inner foot {side}", f"outer foot {side}")
        out[f"plane spacing {side}"] = ("ridge", f"leg top {side}")
        out[f"leg {side}"] = (f"outer foot {side}", f"leg top {side}")
        out[f"plane {side}"] = ("ridge", f"plane edge {side}")
        if layout.opening_deg < 170:
            out[f"foot {side}"] = ("spine", f"inner foot {side}")
    out["feet"] = ("inner foot left", "inner foot right")
    return out


def length_and_u(p: Profile, a: str, b: str) -> tuple[float, float]:
    """A length and its standard uncertainty, by first-order propagation from the joint covariance."""
    d = p.at(b) - p.at(a)
    length = float(np.hypot(*d))
    gradient = np.zeros(len(p.cov_mm2))
    gradient[2 * p.joints.index(a) : 2 * p.joints.index(a) + 2] = -d / length
    gradient[2 * p.joints.index(b) : 2 * p.joints.index(b) + 2] = d / length
    return length, float(np.sqrt(gradient @ p.cov_mm2 @ gradient))


@pytest.mark.parametrize("name", NAMES)
def test_every_panel_is_found_at_its_angle(name: str) -> None:
    p = profile(name)
    assert [fit.name for fit in p.panels] == [panel.name for panel in sample(name).layout.panels]
    for fit in p.panels:
        assert fit.found, f"{fit.name}: {fit.reason}"
        true = np.radians(sample(name).truth["angles_deg"][fit.name])
        off = np.degrees(np.angle(np.exp(1j * (fit.angle_rad - true))))
        # 0.3 mm across a panel of 35 mm
        assert abs(off) < 0.6, f"{fit.name}: {off:.2f} degrees off"


@pytest.mark.parametrize("name", NAMES)
def test_every_length_is_true_within_its_uncertainty(name: str) -> None:
    p, truth = profile(name), sample(name).truth["lengths_mm"]
    for length, (a, b) in lengths(sample(name).layout).items():
        value, u = length_and_u(p, a, b)
        error = value - truth[length]
        # U = 2 u covers 95 %; of some forty lengths two may exceed it, none by half
        assert abs(error) < 1.5 * 2 * u, f"{length}: {error:.2f} mm off, U = {2 * u:.2f} mm"
        assert abs(error) < 0.5, f"{length}: {error:.2f} mm off"
        # and not by claiming little (dark card on a dark table shows its page's level less surely)
        assert u < (0.36 if name == "dark_card" else 0.35), f"{length}: u = {u:.2f} mm"


@pytest.mark.parametrize("name", NAMES)
def test_joints_lie_where_the_camera_saw_them(name: str) -> None:
    p, s = profile(name), sample(name)
    px = s.view.project(np.column_stack([p.xy_mm, np.full(len(p.joints), p.standoff_mm)]))
    for joint, at in zip(p.joints, px, strict=True):
        off = np.hypot(*(at - s.truth["joints_px"][joint]))
        # half a millimetre; free of what the sheet's own scale and the uneven near ends add
        assert off < 0.5 * s.view.px_per_mm(p.at(joint), p.standoff_mm), f"{joint}: {off:.1f} px off"


@pytest.mark.parametrize("name", NAMES)
def test_the_covariance_is_the_sum_of_its_sources(name: str) -> None:
    p = profile(name)
    assert set(p.cov_by_source) == {
        "edge fits", "near ends", "card layers", "page level", "print scale", "view", "standoff",
    }  # fmt: skip
    assert np.allclose(p.cov_mm2, sum(p.cov_by_source.values()))
    assert np.linalg.eigvalsh(p.cov_mm2).min() > 0
    flat = sample(name).layout.opening_deg == 180
    assert ("spine" in p.undetermined) == flat and ("spine" in p.joints) != flat


def test_a_side_that_is_not_there_is_not_invented() -> None:
    s = sample("one_sided")
    right_only = s.layout
    spec = (SAMPLES / s.truth["spec"]).read_text()
    assert "[left]" not in spec
    # the same design with the right side mirrored to the left
    mirrored = {
        j.replace("right", "left"): right_only.at(j) * [-1, 1]
        for j in ("outer foot right", "leg top right", "plane edge right")
    }
    panels = []
    for panel in right_only.panels:
        if panel.name == "page left":
            joints = ("spine", "inner foot left", "outer foot left", "fore edge left")
            panel = replace(panel, joints=joints)
        panels.append(panel)
        if panel.role in (Role.LEG, Role.PLANE):
            left = tuple(j.replace("right", "left") for j in panel.joints)
            panels.append(replace(panel, name=panel.name.replace("right", "left"), joints=left))
    both = replace(
        right_only,
        joint_names=(*right_only.joint_names, *mirrored),
        xy_mm=np.vstack([right_only.xy_mm, *mirrored.values()]),
        panels=tuple(panels),
    )
    p = s.measured(both)
    for name in ("leg left", "plane left"):
        assert not p.panel(name).found and p.panel(name).reason
        assert np.isnan(p.panel(name).angle_rad) and len(p.panel(name).line_mm) == 0
    assert not {"outer foot left", "leg top left", "plane edge left"} & set(p.joints)
    assert "leg left" in p.undetermined["outer foot left"].names
    # what is there is measured all the same
    for a, b, name in (
        ("outer foot right", "leg top right", "leg right"),
        ("inner foot right", "ridge", "fold right"),
    ):
        assert length_and_u(p, a, b)[0] == pytest.approx(s.truth["lengths_mm"][name], abs=0.5)


def without_the_dummy(s: Sample) -> Pixels:
    """Return the photo with nothing but a flat grey, and the sensor's noise, where the dummy may stand."""
    r = search_region(s.view, s.sighting.sheet, 0.0, arch=True, bottom_closed=False)
    corners = np.array([[r.left, r.bottom], [r.right, r.bottom], [r.right, r.top], [r.left, r.top]])
    px = s.view.project(np.column_stack([corners, np.zeros(4)]))
    inside = np.zeros(s.photo.grey.shape, np.uint8)
    cv2.fillPoly(inside, [np.rint(px).astype(np.int32)], 1)
    bgr = s.photo.bgr.copy()
    grey = 118 + np.random.default_rng(130).normal(0, 2, (int(inside.sum()), 1))
    bgr[inside > 0] = np.clip(np.rint(grey), 0, 255).astype(np.uint8)
    return bgr


def test_an_empty_window_is_no_dummy() -> None:
    s = sample("good_arch")
    empty = photo_of_array(without_the_dummy(s), name="empty.jpg")
    with pytest.raises(MeasureError, match=r"empty\.jpg: the dummy of this design is not seen"):
        s.measured(photo=empty)


def test_another_dummys_spec_does_not_fit() -> None:
    s = sample("good_arch")
    other = layout_of(load_spec(SAMPLES / "asymmetric.toml"))
    try:
        p = s.measured(other)
    except MeasureError as err:
        assert "check that spec and photo belong together" in str(err)
        return
    missing = [fit.name for fit in p.panels if not fit.found]
    assert missing, [f.angle_rad for f in p.panels]
