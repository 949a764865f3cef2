"""The camera file: a calibrated camera as TOML, written after a calibration, read when photos are."""

import hashlib
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import numpy as np

from capture.camera.calibrated_camera import Camera, CameraError
from capture.errors import Option
from capture.files import FileKind, read_toml, write_whole
from capture.printable import name_of

FORMAT: Final = 1
_LENS_KEYS: Final = ("log_focal", "k1", "k2", "cx", "cy", "k3", "p1", "p2")


CAMERA_FILE: Final = FileKind("a camera file", (".toml",), b"# A camera calibrated by foldgauge")


def write_camera(camera: Camera, path: Path, *, replace: bool = False) -> None:
    """Write a camera file; an existing one is replaced only when all is done.

    Raises
    ------
    CameraError
        The file cannot be written.
    """
    text = to_text(camera)
    write_whole(
        path, lambda part: part.write_text(text, encoding="utf-8"), CameraError, CAMERA_FILE, replace=replace
    )


def to_text(camera: Camera) -> str:
    """Return the file's text: numbers with all digits that are needed to read them back exactly."""
    focal = float(np.exp(camera.params[0]))
    lines = [
        "# A camera calibrated by foldgauge, for photos taken with it. Pixels are those of the picture",
        "# as stored, (0, 0) the centre of the first; lens terms as in OpenCV (k1, k2, p1, p2, k3).",
        f"format = {FORMAT}",
        f"model = {_quoted(camera.model)}",
        *([f"focal_35_mm = {camera.focal_35_mm!r}"] if camera.focal_35_mm else []),
        *([f"focal_mm = {camera.focal_mm!r}"] if camera.focal_mm else []),
        f"size = [{camera.size[0]}, {camera.size[1]}]",
        f"n_photos = {camera.n_photos}",
        f"rms_px = {camera.rms_px:.4f}",
        f"focal_px = {focal:.2f}          # for the reader; log_focal below counts",
        f"focal_doubt_percent = {100 * float(np.sqrt(camera.cov[0, 0])):.3f}",
        "",
        "[lens]",
        *(f"{key} = {float(value)!r}" for key, value in zip(_LENS_KEYS, camera.params, strict=True)),
        "# covariance of these eight, in this order",
        "covariance = [",
        *(f"  [{', '.join(repr(float(v)) for v in row)}]," for row in camera.cov),
        "]",
    ]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    safe = "".join(c for c in text if c.isprintable())
    return '"' + safe.replace("\\", "\\\\").replace('"', '\\"') + '"'


def read_camera(path: Path) -> Camera:
    """Read a camera file.

    Raises
    ------
    CameraError
        There is no such file, or it is not a whole camera file.
    """
    data, content = read_toml(
        path,
        CameraError,
        missing=(f"no camera file at {path}; make one with ", Option.CALIBRATE),
        foreign=(f"{path.name} is not a camera file; make one with ", Option.CALIBRATE),
    )
    try:
        camera = _camera(data, name_of(path))
    except (KeyError, TypeError, ValueError, OverflowError) as exc:
        raise CameraError(
            f"{path.name} is not a whole camera file ({_trouble(exc)}); make it again with ",
            Option.CALIBRATE,
        ) from None
    return replace(camera, sha256=hashlib.sha256(content).hexdigest())


def _trouble(exc: Exception) -> str:
    return f"{exc.args[0]} is missing" if isinstance(exc, KeyError) else str(exc)


def _camera(data: dict[str, Any], name: str) -> Camera:
    if data["format"] != FORMAT:
        raise ValueError(f"format {data['format']} is not known")
    lens = data["lens"]
    params = np.array([float(lens[key]) for key in _LENS_KEYS])
    cov = np.array(lens["covariance"], dtype=float)
    width, height = (int(v) for v in data["size"])
    if cov.shape != (8, 8) or not np.allclose(cov, cov.T, rtol=1e-6, atol=1e-15):
        raise ValueError("covariance is not 8 x 8 and symmetric")
    sd = np.sqrt(np.maximum(np.diag(cov), 0))
    finite = np.all(np.isfinite(params)) and np.all(np.isfinite(cov)) and np.all(sd > 0)
    if not finite or np.linalg.eigvalsh(cov / np.outer(sd, sd))[0] <= 0:
        raise ValueError("covariance is not positive")
    if min(width, height) < 100:
        raise ValueError("size is too small")
    return Camera(
        name=name,
        model=str(data["model"]),
        focal_35_mm=float(data["focal_35_mm"]) if "focal_35_mm" in data else None,
        focal_mm=float(data["focal_mm"]) if "focal_mm" in data else None,
        size=(width, height),
        params=params,
        cov=(cov + cov.T) / 2,
        rms_px=float(data["rms_px"]),
        n_photos=int(data["n_photos"]),
    )
