"""A calibrated camera: its lens with covariance, its file, and what it says about a photo.

Lens numbers stand in the order log f (f in px), k1, k2, cx, cy, k3, p1, p2, for the picture as the sensor
stores it, before EXIF orientation. They are turned, mirrored and scaled to the photo at hand.
"""

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from capture.arrays import Array
from capture.camera.view_facts import LensCalibrated
from capture.errors import FoldgaugeError
from capture.lens_hint import Exif
from capture.photo import Photo

LENS: Final = np.array([6, 7, 8, 9, 10, 13, 14, 15])
"""Where the lens stands in `capture.camera.view.PARAMS`."""

FOCUS_SD: Final = 0.003
"""The focal length in px changes by so much (relative) when a phone focuses anew: 1/(1 - f/d) for a lens of
5 mm between 0.5 m and infinity is 1 %, less between the distances used here (thin-lens formula)."""

_SAME_SHAPE: Final = 0.004
_SAME_ZOOM: Final = 0.03
_MISFIT: Final = 40.0
"""Squared normalised misfit of the eight lens numbers that no photo of this camera has: chi-square with 8
degrees of freedom exceeds it once in 300 000."""


class CameraError(FoldgaugeError):
    """The camera file cannot be read, or does not fit the photo; or a calibration could not be made."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Camera:
    """A calibrated camera.

    Attributes
    ----------
    name : for messages, usually the file's name.
    model : make and model as EXIF tells them; "" if unknown.
    focal_35_mm, focal_mm : focal lengths by EXIF; None if unknown.
    size : (width, height) of the stored picture, px.
    params : (8,) lens, see the module.
    cov : (8, 8) its covariance.
    rms_px : residual of the calibration. n_photos : photos it rests on.
    sha256 : hex digest of the file it was read from; "" if it was not read.
    """

    name: str
    model: str
    focal_35_mm: float | None
    focal_mm: float | None
    size: tuple[int, int]
    params: Array
    cov: Array = field(repr=False)
    rms_px: float
    n_photos: int
    sha256: str = ""

    def for_photo(self, photo: Photo) -> "PhotoLens":
        """Lens of a photo taken with this camera, also if it was scaled or turned since.

        Raises
        ------
        CameraError
            The photo has another shape, zoom or camera.
        """
        self._require_same(photo)
        stored = stored_size(photo.size, photo.exif)
        turned = False
        if (stored[0] > stored[1]) != (self.size[0] > self.size[1]):
            turned = True  # turned upright by a program that then dropped the EXIF orientation
        into = _turn(photo.exif.orientation, stored)
        if turned:
            into = _Turn(np.array([[0.0, -1.0], [1.0, 0.0]]), np.array([stored[0] - 1.0, 0.0]))
        ratio = max(photo.size) / max(self.size)
        values, jac = _scaled(self.params, ratio)
        values, spin = into.lens(values)
        cov = spin @ jac @ self.cov @ jac.T @ spin.T
        cov[0, 0] += FOCUS_SD**2
        if turned:  # either way round: the principal point may lie on the other side of the middle
            off = values[3:5] - (np.array(photo.size) - 1) / 2
            cov[3:5, 3:5] += np.diag(off**2)
        known = LensCalibrated(self.name, self.n_photos, turned, "" if photo.exif.camera else self.model)
        return PhotoLens(values, cov, known)

    def _require_same(self, photo: Photo) -> None:
        again = "give the camera file of this camera and zoom, or none"
        exif = photo.exif
        ours, theirs = (max(s) / min(s) for s in (self.size, photo.size))
        if abs(ours / theirs - 1) > _SAME_SHAPE:
            ours_px, its_px = ("{} x {}".format(*size) for size in (self.size, photo.size))
            raise CameraError(
                f"{photo.name}: {its_px} pixels is not the shape {self.name} was made for ({ours_px}): "
                "cropped, or another mode; take it in the same mode, uncropped"
            )
        if exif.camera and self.model and exif.camera != self.model:
            raise CameraError(
                f"{photo.name} was taken with {exif.camera}, {self.name} is for {self.model}; {again}"
            )
        for what, mine, its in (
            ("mm (35 mm equivalent)", self.focal_35_mm, exif.focal_35_mm),
            ("mm", self.focal_mm, exif.focal_mm),
        ):
            if mine and its and abs(np.log(its / mine)) > _SAME_ZOOM:
                raise CameraError(
                    f"{photo.name} was taken at {its:g} {what}, {self.name} is for {mine:g}: another zoom or "
                    f"lens; {again}"
                )


@dataclass(frozen=True, slots=True, eq=False)
class PhotoLens:
    """What a calibrated camera says about the lens of one photo, upright.

    Attributes
    ----------
    params : (8,) lens, cov : (8, 8) covariance, known : where it comes from.
    """

    params: Array
    cov: Array
    known: LensCalibrated


def require_fit(name: str, camera: Camera, misfit: float, log_f_off: float) -> None:
    """Refuse a camera whose lens the photo's sheet contradicts.

    Parameters
    ----------
    name : of the photo. camera : the calibrated one.
    misfit : squared normalised difference of the solved lens and the calibrated one.
    log_f_off : how much longer the solved focal length is, as a logarithm.

    Raises
    ------
    CameraError
    """
    if misfit > _MISFIT:
        raise CameraError(
            f"{name}: the sheet contradicts {camera.name} (focal length {100 * np.expm1(log_f_off):+.1f} %); "
            "another camera, zoom or mode took it, or the sheet was not flat; give the right camera file, "
            "or none"
        )


def stored_size(size: tuple[int, int], exif: Exif) -> tuple[int, int]:
    """Size (width, height) of the picture before EXIF orientation, from that of the upright one."""
    return (size[1], size[0]) if exif.orientation >= 5 else size


def to_stored(px: Array, size: tuple[int, int], exif: Exif) -> Array:
    """Pixels (..., 2) of the stored picture from those of the upright one of this size."""
    turn = _turn(exif.orientation, stored_size(size, exif))
    out: Array = (px - turn.shift) @ turn.matrix
    return out


@dataclass(frozen=True, slots=True, eq=False)
class _Turn:
    """Upright pixel = matrix @ stored pixel + shift."""

    matrix: Array
    shift: Array

    def lens(self, values: Array) -> tuple[Array, Array]:
        """Lens (8,) of the upright picture and its derivative (8, 8): (p2, p1) turns as a vector."""
        jac = np.eye(8)
        jac[3:5, 3:5] = self.matrix
        jac[6:8, 6:8] = self.matrix[::-1, ::-1]
        out = jac @ values
        out[3:5] += self.shift
        return out, jac


def _turn(orientation: int, stored: tuple[int, int]) -> _Turn:
    """From stored to upright pixels; EXIF orientation 1-8 (Exif 2.3, tag 0x0112)."""
    matrix = np.eye(2)
    if orientation >= 5:
        matrix = np.array([[0.0, 1.0], [1.0, 0.0]])
    if orientation in (2, 3, 6, 7):
        matrix = np.diag([-1.0, 1.0]) @ matrix
    if orientation in (3, 4, 7, 8):
        matrix = np.diag([1.0, -1.0]) @ matrix
    corners = np.array([[0.0, 0.0], [stored[0] - 1.0, stored[1] - 1.0]]) @ matrix.T
    return _Turn(matrix, -corners.min(axis=0))


def _scaled(values: Array, ratio: float) -> tuple[Array, Array]:
    """Lens of the same picture with `ratio` times as many pixels across, and its derivative (8, 8)."""
    out = values.copy()
    out[0] += np.log(ratio)
    out[3:5] = (values[3:5] + 0.5) * ratio - 0.5
    jac = np.eye(8)
    jac[3, 3] = jac[4, 4] = ratio
    return out, jac
