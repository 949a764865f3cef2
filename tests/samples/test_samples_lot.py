"""The lot of sample photos: complete, small, and with the drift its manifest is meant to show."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from sample_images.rendering.chance.catalogue import spec_text
from sample_images.rendering.orrin.quay_lot import DRIFT_FROM, DRIFT_MM, FOLDER, lot, manifest
from sample_images.rendering.scene.staging import stage, truth

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"

LOT = SAMPLES / FOLDER


def test_manifest_names_every_photo_once_in_the_order_of_time() -> None:
    text = (LOT / "manifest.csv").read_text()
    assert text == manifest()
    rows = list(csv.DictReader(text.splitlines()))
    assert list(rows[0]) == ["sample", "photo", "assembler", "die", "shift", "time"]
    assert [r["photo"] for r in rows] == sorted(p.name for p in LOT.glob("*.jpg"))
    assert len(rows) == 14
    assert [r["time"] for r in rows] == sorted(r["time"] for r in rows)
    assert {len({r[k] for r in rows}) for k in ("assembler", "die", "shift")} == {2}


@pytest.mark.parametrize("shot", lot(), ids=lambda s: s.name)
def test_photo_and_truth_belong_to_the_sample(shot) -> None:  # type: ignore[no-untyped-def]
    stored = json.loads((LOT / f"{shot.name}.truth.json").read_text())
    again = json.loads(json.dumps(truth(shot, stage(shot))))
    assert stored["lengths_mm"] == pytest.approx(again["lengths_mm"], abs=1e-6)
    assert np.array(list(stored["joints_px"].values())) == pytest.approx(
        np.array(list(again["joints_px"].values())), abs=1e-6
    )
    photo = LOT / f"{shot.name}.jpg"
    assert photo.stat().st_size <= 400_000
    with Image.open(photo) as picture:
        assert picture.size == (2000, 1500)
    assert (LOT / stored["spec"]).read_text() == spec_text(shot)


def test_the_left_leg_drifts_from_the_sixth_sample_on() -> None:
    leg = np.array([s.lengths["leg left"] - s.nominal["leg left"] for s in lot()])
    steps = np.maximum(0, np.arange(1, len(leg) + 1) - DRIFT_FROM + 1)
    # hand assembly scatters with sd 0.1 mm: five of them bound every one of these fixed draws
    assert np.abs(leg - DRIFT_MM * steps).max() < 0.5
    slope = np.polyfit(np.arange(DRIFT_FROM, len(leg) + 1), leg[DRIFT_FROM - 1 :], 1)[0]
    assert slope == pytest.approx(DRIFT_MM, abs=0.05)
