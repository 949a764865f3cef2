"""How the samples of a lot are checked: the same for all of them."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from capture.errors import FoldgaugeError
from capture.setup import Setup
from compare.verdict.conformity import Rule

if TYPE_CHECKING:
    from compare.jobs.check_dummy import Inspection


@dataclass(frozen=True, slots=True)
class Telling:
    """How the outcome of a check is told to the ledger; functions that a worker process can be sent.

    Attributes
    ----------
    result : an inspection as plain dicts and lists. refusal : an error in one line.
    """

    result: "Callable[[Inspection], Mapping[str, Any]]"
    refusal: Callable[[FoldgaugeError], str]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Checking:
    """How the photos were taken, by which rule their readings are judged, and how the ledger is told."""

    setup: Setup
    telling: Telling
    rule: Rule = Rule.GUARDED

    def as_dict(self) -> dict[str, Any]:
        """Return it as the ledger keeps it: what was given; files by name and content."""
        setup = self.setup.as_dict()
        return {"use": setup.pop("use"), "rule": self.rule.value, **setup}
