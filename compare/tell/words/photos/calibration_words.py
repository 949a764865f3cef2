"""What would make a calibration better, in words."""

from capture.camera.calibration.calibration_advice import (
    BareCorners,
    BentBoard,
    Blurred,
    CalibrationAdvice,
    FewPhotos,
    NoneTurned,
    TooLittleTilt,
)


def calibration_advice(advice: CalibrationAdvice) -> str:
    """Return one piece of advice: what was measured and what to do, without full stop."""
    match advice:
        case FewPhotos(used, good):
            return f"{used} photos were used; take {good} to 15"
        case TooLittleTilt(across, up, doubt):
            ways = [way for way, short in (("left and right", across), ("up and down", up)) if short]
            return (
                f"the board was tilted by too little {' nor '.join(ways)} (focal length {100 * doubt:.2f} % "
                "doubtful): in some photos tilt it by 25 to 35 degrees each way"
            )
        case NoneTurned():
            return (
                "no photo is turned upright against the others: turn the camera by 90 degrees for two or "
                "three"
            )
        case BareCorners(corners):
            return f"no marks near the picture's {', '.join(corners)}: bring the board into the corners, too"
        case BentBoard(bow_mm):
            return f"the board is bowed by about {bow_mm:.1f} mm: glue it on a flat, stiff board"
        case Blurred(photo, px):
            return f"{photo} is blurred ({px:.1f} px): more light, hold still"
