"""What a construction brings along: its tables of the spec file, and how they are read."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from compare.design.spec.forms import Form
from compare.design.spec.spec import Building
from compare.design.spec.spec_tables import Tables


@dataclass(frozen=True, slots=True, kw_only=True)
class Construction:
    """A construction of the trade.

    Attributes
    ----------
    tables : its tables of the spec file; those that several have may be named by each.
    known_by : tables by which a file is told to be one of these; none: what a file is if nothing else.
    shown : these tables as a message names them, e.g. "[vfold]".
    read : from the tables of a file to what is built.
    """

    tables: Mapping[str, Form]
    known_by: tuple[str, ...]
    shown: str
    read: Callable[[Tables], Building]
