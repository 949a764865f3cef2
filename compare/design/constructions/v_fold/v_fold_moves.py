"""Repairs of a V-fold, beside strips made anew."""

from types import MappingProxyType
from typing import Final

from compare.design.craft.bench import Makers, placed
from compare.vocabulary import Kind

V_FOLD_MAKERS: Final[Makers] = MappingProxyType({Kind.VFOLD_FOOT: placed, Kind.VFOLD_TOP: placed})
