"""Made-up inspections: a drawn picture in place of a photo, a profile from the linkage, a known camera."""

import cv2
import numpy as np

from capture.camera.view import View
from capture.camera.view_facts import PrintTaken
from capture.photo import photo_of_array
from capture.placing import Placing
from capture.sheet.marker_sheet import SHEETS
from capture.sight.sighting import Sighting
from compare.design.spec.spec import Spec
from compare.jobs.check_dummy import Inspection
from compare.jobs.one_photo import Shot
from compare.jobs.several_photos import gather
from compare.quantities.measured import measured_of
from compare.verdict.findings import compare_profile
from measure.profile import Profile

SIZE = (2000, 1500)


def camera() -> View:
    """A camera 900 mm in front of the sheet's middle, looking straight at it, 4.4 px/mm."""
    turned, _ = cv2.Rodrigues(np.diag([1.0, -1.0, -1.0]))
    params = np.array([*turned.ravel(), 0, 0, 900, np.log(4000), 0, 0, 1000, 750, 0, 0], dtype=float)
    notes = (PrintTaken(3e-3),)
    return View(params=params, cov=np.zeros((13, 13)), size=SIZE, rms_px=0.1, n_saddles=100, notes=notes)


def inspection_of(profile: Profile, spec: Spec) -> Inspection:
    """An inspection of a drawn dummy."""
    view = camera()
    picture = np.full((SIZE[1], SIZE[0], 3), (60, 60, 70), dtype=np.uint8)
    for panel in profile.panels:
        px = view.project(np.column_stack([panel.line_mm, np.zeros(len(panel.line_mm))]))
        cv2.polylines(picture, [np.round(px).astype(np.int32).reshape(-1, 1, 2)], False, (235, 240, 240), 3)
    none = np.zeros((0, 2))
    sighting = Sighting(
        sheet=SHEETS["a4"],
        index=np.zeros(0, dtype=np.int64),
        xy_mm=none,
        px=none,
        sigma_px=np.zeros(0),
        H_img_sheet=np.eye(3),
        blur_px=0.9,
        contrast=150.0,
        clipped=0.0,
        n_tags=40,
        n_bottom_band=0,
        bottom_band_seen=False,
    )
    shot = Shot(
        photo=photo_of_array(picture, name="dummy.jpg", sha256="0" * 64),
        sighting=sighting,
        placing=Placing(use="arch", standoff_mm=0.0, standoff_err_mm=0.5, view=view),
        profile=profile,
        measured=measured_of(profile, spec),
        advice=(),
    )
    return Inspection(
        spec=spec,
        shots=(shot,),
        gathered=gather([shot], spec),
        findings=compare_profile(profile, spec),
    )
