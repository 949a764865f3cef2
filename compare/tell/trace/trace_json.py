"""A dummy measured without a design, as JSON: figures with U, joints on the sheet, panels, notes."""

from typing import Any

import numpy as np

from compare.jobs.measure_dummy import Figure, Tracing
from compare.tell.words.photos.measuring_words import unseen_words
from compare.tell.words.photos.note_words import tracing_notes
from compare.tell.words.photos.traced_words import traced_headline
from compare.tell.words.verdict_words import by_hand_words
from measure.joints.error_budget import COVERAGE


def tracing_dict(tracing: Tracing) -> dict[str, Any]:
    """Return the result as plain dicts and lists; lengths in mm, angles in degrees, U with k = 2."""
    profile, photo = tracing.profile, tracing.photo
    u = np.sqrt(np.diag(profile.cov_mm2)).reshape(-1, 2)
    return {
        "traced": traced_headline(tracing),
        "units": {"length": "mm", "angle": "deg"},
        "lengths": {f.name: _figure(f) for f in tracing.lengths},
        "angles": {f.name: _figure(f) for f in tracing.angles},
        "joints": {
            name: {
                "x": round(float(xy[0]), 4),
                "y": round(float(xy[1]), 4),
                "U_x": round(COVERAGE * float(s[0]), 4),
                "U_y": round(COVERAGE * float(s[1]), 4),
            }
            for name, xy, s in zip(profile.joints, profile.xy_mm, u, strict=True)
        },
        "panels": {
            p.name: {"found": p.found, **({"reason": unseen_words(p.reason)} if p.reason else {})}
            for p in profile.panels
        },
        "undetermined": {joint: unseen_words(why) for joint, why in profile.undetermined.items()},
        "by_hand": {joint: {"sd_px": sd} for joint, sd in profile.by_hand.items()},
        "photo": {"name": photo.name, "sha256": photo.sha256, "size": list(photo.size)},
        "use": tracing.placing.use,
        "standoff_mm": tracing.placing.standoff_mm,
        "notes": tracing_notes(tracing),
    }


def _figure(f: Figure) -> dict[str, Any]:
    out: dict[str, Any] = {"measured": round(f.value, 6), "U": round(f.expanded, 6)}
    if f.by_hand:
        out["remark"] = by_hand_words(f.by_hand)
    return out
