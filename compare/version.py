"""Which version of the program this is."""

from importlib.metadata import PackageNotFoundError, version


def own_version() -> str:
    """Return the installed version, or "unknown" in a checkout that was never installed."""
    try:
        return version("foldgauge")
    except PackageNotFoundError:
        return "unknown"
