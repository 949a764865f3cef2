"""How a plane lies that a parallelogram of one side and a plain support from the other page hold."""

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from capture.arrays import Array
from compare.design.linkage.four_bar import four_bar
from compare.design.linkage.pose import heading, turn_of
from compare.design.linkage.steps import BIGGEST_STEP, ROUNDS, Bench, Cost, Terms


@dataclass(frozen=True, slots=True, kw_only=True)
class Prop:
    """A plane on a parallelogram of one side, held up from the other page by a plain support.

    If the parallelogram is exact the plane only shifts, so the support's tab circles about a point of the
    page and the whole is a tent (a formula). If not, three panels hold the plane to the pages, for which
    there is none: Newton's method on the angle of the fold, from the tent.

    sign : +1 if the parallelogram is on the right; tab_sign : +1 if the tab lies outside the ridge, -1 if it
    lies on the support's own side of it.
    """

    cost: ClassVar[Cost] = Cost.SLOW

    sign: float
    own_page: str
    other_page: str
    foot: Terms
    support_foot: Terms
    fold: tuple[str, str]
    leg: tuple[str, str]
    spacing_page: str
    spacing_plane: str
    plane: str
    support: tuple[str, str]
    tab: str
    tab_sign: float
    at_foot: str
    at_outer: str
    at_support: str
    ridge: str
    leg_top: str
    support_top: str

    def _plane(self, bench: Bench, psi: Array) -> tuple[Array, Array]:
        """Angles (to the own page, inwards) of leg and plane half for this angle of the fold."""
        n = bench.lengths
        base, fold = n[self.spacing_page], n[self.fold[1]]
        leg, at_ridge = four_bar(base, fold, n[self.leg[1]], n[self.spacing_plane], psi)
        return leg, psi - at_ridge

    def _gap(self, bench: Bench, psi: Array) -> Array:
        """Squared distance of the tab from the support's foot less the square of the support, mm^2."""
        n = bench.lengths
        page = bench.turns[self.own_page]
        _, lean = self._plane(bench, psi)
        ridge = bench.joints[self.at_foot] + n[self.fold[1]][..., None] * heading(page - self.sign * psi)
        tab = ridge + self.tab_sign * n[self.tab][..., None] * heading(page - self.sign * lean)
        way = tab - bench.joints[self.at_support]
        out: Array = np.sum(way * way, axis=-1) - n[self.support[1]] ** 2
        return out

    def run(self, bench: Bench) -> None:
        """Lay fold, leg, plane and support."""
        n = bench.lengths
        c, tab = bench.total(self.foot), self.tab_sign * n[self.tab]
        opening = self.sign * (bench.turns[self.own_page] - bench.turns[self.other_page])
        psi, _ = four_bar(
            c + tab, bench.total(self.support_foot), n[self.fold[1]], n[self.support[1]], opening
        )
        for _ in range(ROUNDS):
            gap = self._gap(bench, psi)
            h = 1e-7 * np.maximum(psi, 1e-7)
            slope = (self._gap(bench, psi + h) - gap) / h
            with np.errstate(invalid="ignore", divide="ignore"):
                step = np.where(np.abs(gap) > 1e-9, gap / slope, 0.0)
            step = np.clip(step, -BIGGEST_STEP, BIGGEST_STEP)
            psi = psi - step
            if not np.any(np.abs(step) > 1e-13):
                break
        with np.errstate(invalid="ignore"):
            psi = np.where(np.abs(self._gap(bench, psi)) < 1e-6 * n[self.support[1]] ** 2, psi, np.nan)
        leg, lean = self._plane(bench, psi)
        page = bench.turns[self.own_page]
        bench.turns[self.fold[0]] = page - self.sign * psi
        bench.turns[self.leg[0]] = page - self.sign * leg
        bench.turns[self.plane] = page - self.sign * lean
        bench.joints[self.ridge] = bench.along(self.at_foot, self.fold[0], n[self.fold[1]])
        bench.joints[self.leg_top] = bench.along(self.at_outer, self.leg[0], n[self.leg[1]])
        top = bench.along(self.ridge, self.plane, tab)
        bench.joints[self.support_top] = top
        bench.turns[self.support[0]] = turn_of(top - bench.joints[self.at_support])
