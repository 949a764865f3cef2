"""Repairs of a pull-up flap, beside strips made anew."""

from types import MappingProxyType
from typing import Final

from compare.design.craft.bench import Makers, placed
from compare.vocabulary import Kind

FLAP_MAKERS: Final[Makers] = MappingProxyType({Kind.FLAP_HINGE: placed})
