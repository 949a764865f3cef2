"""The verdict of a gauge study on the method, in words."""

import math
from collections.abc import Sequence

from compare.lot.study.gauge_study import ENOUGH_CATEGORIES
from compare.lot.study.photo_study import Studied
from compare.tell.words.lots.lot_words import percent
from compare.tell.words.name_words import spoken


def study_headline(studied: Sequence[Studied]) -> str:
    """Return the verdict on the method in one sentence."""
    worst = max(studied, key=lambda s: s.share if math.isfinite(s.share) else s.gauge.share_of_total)
    if math.isnan(worst.share):
        g = worst.gauge
        return (
            f"Measuring takes {percent(g.share_of_total)} of the whole spread of {worst.name}, "
            f"{g.categories} distinct categories ({ENOUGH_CATEGORIES} are wanted): {worst.word} for telling "
            "samples apart."
        )
    where = f"{spoken(worst.name)} takes {percent(worst.share)} of its tolerance, six sigma"
    if worst.word != "not good enough":
        start = "Good enough" if worst.word == "good" else "Bearable"
        return f"{start} for this tolerance: measuring {where}."
    needed = max((s.photos_needed or 0 for s in studied if s.word == worst.word), default=0)
    never = [s.name for s in studied if s.word == worst.word and s.photos_needed is None]
    if never:
        cure = f"no number of photos mends {never[0]}: people or phones differ by more than that"
    else:
        cure = f"{needed} photos per sample, averaged, would do"
    return f"Not good enough for this tolerance: measuring {where}; {cure}."
