"""foldgauge camera: calibrate a camera from photos of the board or the uncut sheet."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from compare.commands.set_up_options import Output, check_outputs, force_option

if TYPE_CHECKING:
    from capture.camera.calibration.calibration_result import Calibration


@click.command()
@click.argument("photos", metavar="PHOTO...", type=click.Path(path_type=Path), nargs=-1, required=True)
@click.option(
    "-o", "--output", type=click.Path(path_type=Path), required=True, help="The camera file to write (TOML)."
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")
@force_option
def camera(photos: tuple[Path, ...], output: Path, as_json: bool, force: bool) -> None:
    """Calibrate a camera from 8 to 15 PHOTOS of the calibration board (or of the uncut sheet).

    Same camera, zoom and picture size in all; give the file to 'foldgauge check' with --camera.
    """
    from capture.camera.calibration.calibrate import calibrate
    from capture.camera.camera_file import CAMERA_FILE, write_camera

    check_outputs([Output("--output", output, CAMERA_FILE)], photos, replace=force)
    result = calibrate(photos, output.name)
    write_camera(result.camera, output, replace=force)
    if as_json:
        import json

        click.echo(json.dumps(as_dict(result), indent=2))
        return
    click.echo("\n".join(as_text(result)))


def as_text(result: "Calibration") -> list[str]:
    """Return the result in lines for a reader."""
    import numpy as np

    from capture.camera.calibration.calibration_advice import advice, coverage
    from compare.tell.words.photos.calibration_words import calibration_advice

    cam = result.camera
    focal = float(np.exp(cam.params[0]))
    sd = np.sqrt(np.diag(cam.cov))
    total = len(result.photos) + len(result.left_out)
    lines = [
        f"{cam.name}: {cam.model or 'camera'}, {cam.size[0]} x {cam.size[1]} pixels, "
        f"from {len(result.photos)} of {total} photos.",
        f"focal length {focal:.1f} \u00b1 {2 * focal * sd[0]:.1f} px, middle of the picture at "
        f"{cam.params[3]:.1f} \u00b1 {2 * sd[3]:.1f}, {cam.params[4]:.1f} \u00b1 {2 * sd[4]:.1f} px (k = 2)",
        f"residual {cam.rms_px:.2f} px rms; marks in {100 * coverage(result):.0f} % of the frame; "
        f"marks printed to {result.print_sd_mm:.3f} mm; board bowed by {result.bow_mm:.1f} mm",
        "",
        f"{'photo':32}{'marks':>6}{'rms px':>8}{'tilt':>6}{'turned':>8}",
    ]
    lines += [
        f"{p.name:32}{p.n_marks:6d}{p.rms_px:8.2f}{p.tilt_deg:6.0f}{p.roll_deg:8.0f}" for p in result.photos
    ]
    lines += [f"left out: {name}: {why}" for name, why in result.left_out]
    lines += [f"To do better: {calibration_advice(a)}." for a in advice(result)]
    return lines


def as_dict(result: "Calibration") -> dict[str, object]:
    """Return the result for other programs: pixels, degrees, mm; standard uncertainties."""
    import numpy as np

    from capture.camera.calibration.calibration_advice import advice, coverage
    from compare.tell.words.photos.calibration_words import calibration_advice

    cam = result.camera
    return {
        "camera": cam.name,
        "model": cam.model,
        "size": list(cam.size),
        "focal_px": float(np.exp(cam.params[0])),
        "focal_u_px": float(np.exp(cam.params[0]) * np.sqrt(cam.cov[0, 0])),
        "lens": dict(
            zip(("k1", "k2", "cx", "cy", "k3", "p1", "p2"), map(float, cam.params[1:]), strict=True)
        ),
        "lens_u": dict(
            zip(
                ("k1", "k2", "cx", "cy", "k3", "p1", "p2"),
                map(float, np.sqrt(np.diag(cam.cov)[1:])),
                strict=True,
            )
        ),
        "rms_px": cam.rms_px,
        "coverage": coverage(result),
        "bow_mm": result.bow_mm,
        "photos": [
            {
                "name": p.name,
                "marks": p.n_marks,
                "rms_px": p.rms_px,
                "tilt_deg": p.tilt_deg,
                "roll_deg": p.roll_deg,
            }
            for p in result.photos
        ],
        "left_out": [{"name": name, "why": why} for name, why in result.left_out],
        "advice": [calibration_advice(a) for a in advice(result)],
    }
