"""What statistics of a lot say, in words instead of probabilities."""

import math

from compare.lot.charts.drift import SURE
from compare.lot.study.capability import Normality
from compare.lot.study.lot_statistics import Statistics
from compare.lot.study.sample_groups import Grouping
from compare.tell.words.lots.lot_words import size

DOUBTED = 0.05  # chance under which a normal distribution is doubted
REFUSED = 0.01  # ... and under which it is not believed


def normal_words(normality: Normality) -> str:
    """Say whether values look normally distributed (Anderson-Darling), one sentence."""
    if math.isnan(normality.chance):
        return "Too few samples to tell whether they are normally distributed."
    if normality.chance < REFUSED:
        return "Not normally distributed: look for two kinds of pieces, or for single slips."
    if normality.chance < DOUBTED:
        return "Perhaps not normally distributed."
    return "As a normal distribution would have it."


def depends(g: Grouping, looked_at: int) -> bool:
    """Return whether a length depends on a column beyond chance, with so many lengths looked at."""
    return g.chance * looked_at <= SURE


def group_words(g: Grouping, s: Statistics, looked_at: int) -> str:
    """Say whether a length depends on a column, in a few words."""
    if math.isnan(g.chance):
        return "divides as another"
    if not depends(g, looked_at):
        return "no difference seen"
    if g in s.telling_groups(looked_at):
        return f"yes, {size(g.difference, s.unit)}"
    return f"yes, but only {size(g.difference, s.unit)}"
