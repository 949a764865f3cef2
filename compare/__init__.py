"""Compare: from a measured profile and a design spec to a verdict, its reason and its cure.

`from compare import check` gives the main job. It is looked up late (PEP 562), so that `import compare`,
and with it `foldgauge --help`, loads neither OpenCV nor SciPy.
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from compare.jobs.check_dummy import check as check

__all__ = ["check"]


def __getattr__(name: str) -> Any:
    if name == "check":
        import importlib

        return importlib.import_module("compare.jobs.check_dummy").check
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
