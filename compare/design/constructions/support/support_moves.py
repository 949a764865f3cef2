"""Repairs of a plain support, beside strips made anew."""

from types import MappingProxyType
from typing import Final

from compare.design.craft.bench import Makers, placed
from compare.vocabulary import Kind

SUPPORT_MAKERS: Final[Makers] = MappingProxyType({Kind.SUPPORT_FOOT: placed, Kind.SUPPORT_TAB: placed})
