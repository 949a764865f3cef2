"""Which version of the program this is, and of what its numbers rest on."""

from importlib.metadata import PackageNotFoundError, version


def own_version() -> str:
    """Return the installed version, or "unknown" in a checkout that was never installed."""
    try:
        return version("foldgauge")
    except PackageNotFoundError:
        return "unknown"


def versions() -> dict[str, str]:
    """Return versions of this program and of what its numbers rest on."""
    import platform

    import cv2
    import numpy as np

    return {
        "foldgauge": own_version(),
        "numpy": np.__version__,
        "opencv": cv2.__version__,
        "python": platform.python_version(),
    }
