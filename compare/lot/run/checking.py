"""How the samples of a lot are checked: the same for all of them."""

from dataclasses import dataclass
from typing import Any

from capture.setup import Setup
from compare.verdict.conformity import Rule


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Checking:
    """How the photos were taken, and by which rule their readings are judged."""

    setup: Setup
    rule: Rule = Rule.GUARDED

    def as_dict(self) -> dict[str, Any]:
        """Return it as the ledger keeps it: what was given; files by name and content."""
        setup = self.setup.as_dict()
        return {"use": setup.pop("use"), "rule": self.rule.value, **setup}
