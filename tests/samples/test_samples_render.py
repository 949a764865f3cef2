"""The renderer's camera against the project's camera model: lamps of known position land where View says."""

import numpy as np
import pytest

mi = pytest.importorskip("mitsuba", reason="the render extra is not installed")
from sample_images.rendering import render  # noqa: E402
from sample_images.rendering.scene.phone_camera import Camera, expose, look_at  # noqa: E402


@pytest.mark.parametrize("variant", ["llvm_ad_rgb", "scalar_rgb"])
def test_small_lamps_land_where_view_projects_them(variant: str) -> None:
    if variant == "scalar_rgb":
        mi.set_variant(variant)
    elif render.find_llvm() is None:
        pytest.skip("no LLVM library of version 16 or newer")
    else:
        render.start_mitsuba()
    eye, target = np.array([60.0, 90.0, 640.0]), np.array([5.0, -20.0, 30.0])
    rot, shift = look_at(eye, target, 3.0)
    cam = Camera(
        rot=rot, shift=shift, f_px=900.0, k1=0.12, k2=-0.2, centre=(402.3, 296.1), size=(800, 600),
        aperture_mm=1.5, focus_mm=600.0,
    )  # fmt: skip
    lamps = np.array(
        [
            [-140.0, 90.0, 0.0],
            [150.0, 80.0, 5.0],
            [-100.0, -110.0, 60.0],
            [120.0, -95.0, 90.0],
            [3.0, 4.0, 0.0],
        ]
    )
    scene = {"type": "scene"}
    for i, at in enumerate(lamps):
        scene[f"lamp{i}"] = {
            "type": "sphere", "center": [float(c) for c in at], "radius": 1.2,
            "emitter": {"type": "area", "radiance": {"type": "rgb", "value": 1.0}},
        }  # fmt: skip
    seen = expose(mi.load_dict(scene), cam, 256, 1).mean(axis=2)
    expected = cam.view().project(lamps)
    for px in expected:
        x, y = np.rint(px).astype(int)
        window = seen[y - 9 : y + 10, x - 9 : x + 10]
        assert window.sum() > 3.0
        ys, xs = np.mgrid[y - 9 : y + 10, x - 9 : x + 10]
        centroid = np.array([(xs * window).sum(), (ys * window).sum()]) / window.sum()
        # a half-pixel slip would show as 0.5; the spheres' own perspective shifts them under 0.005 px
        assert np.abs(centroid - px).max() < 0.03
