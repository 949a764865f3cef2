"""Compare: from a measured profile and a design spec to a verdict, its reason and its cure.

`from compare import Setup, check` gives the main job, and what tells its results in words comes the same way.
All of it is looked up late (PEP 562), so that `import compare`, and with it `foldgauge --help`, loads neither
OpenCV nor SciPy.
"""

from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from capture.setup import Setup as Setup
    from compare.jobs.check_dummy import check as check
    from compare.tell.check.check_json import inspection_dict as inspection_dict
    from compare.tell.check.check_page import write_report as write_report
    from compare.tell.words.answer import answer as answer
    from compare.tell.words.cause_words import cause_sentence as cause_sentence
    from compare.tell.words.repair_words import remedy_text as remedy_text

HOMES: Final = {
    "Setup": "capture.setup",
    "check": "compare.jobs.check_dummy",
    "answer": "compare.tell.words.answer",
    "cause_sentence": "compare.tell.words.cause_words",
    "inspection_dict": "compare.tell.check.check_json",
    "remedy_text": "compare.tell.words.repair_words",
    "write_report": "compare.tell.check.check_page",
}
__all__ = ["Setup", "answer", "cause_sentence", "check", "inspection_dict", "remedy_text", "write_report"]


def __getattr__(name: str) -> Any:
    if name in HOMES:
        import importlib

        return getattr(importlib.import_module(HOMES[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
