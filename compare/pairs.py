"""Matched pairs: the equalities the craft lives by, each with the uncertainty of the DIFFERENCE.

A half of the plane stays parallel to its page if the leg is as long as the fold's side and the spacing on
the plane equals the spacing on the page; the dummy lies flat when shut if the sums round each loop agree.
Two lengths from one photo share scale and distance errors, which cancel in their difference, so a pair is
known better than either of its lengths.
"""

from collections.abc import Mapping
from typing import Final

from compare.conformity import Item
from compare.design.spec import Spec
from compare.measured import Measured, nominal_lengths

PairTerms = Mapping[str, float]


def pair_terms(sides: tuple[str, ...]) -> dict[str, PairTerms]:
    """Pairs by name, each as length -> coefficient (+1 for the first, -1 for its match)."""
    out: dict[str, PairTerms] = {}
    for s in sides:
        out[f"leg = fold {s}"] = {f"leg {s}": 1.0, f"fold {s}": -1.0}
        out[f"plane spacing = page spacing {s}"] = {f"plane spacing {s}": 1.0, f"page spacing {s}": -1.0}
        out[f"closing sum {s}"] = {
            f"fold {s}": 1.0,
            f"plane spacing {s}": 1.0,
            f"page spacing {s}": -1.0,
            f"leg {s}": -1.0,
        }
    out["foot + fold, left = right"] = {
        "foot left": 1.0,
        "fold left": 1.0,
        "foot right": -1.0,
        "fold right": -1.0,
    }
    return out


CLOSING_REMARK: Final = "fold + plane spacing against page spacing + leg"


def compare_pairs(measured: Measured, spec: Spec) -> tuple[tuple[Item, ...], dict[str, str]]:
    """Compare the matched pairs with the design.

    Returns
    -------
    items : the difference of each pair (mm) against the design's own difference (0 for a plain
        parallelogram, something else for a plane that is oblique on purpose), limits +- `matched`. A sum
        round a loop is the sum of two pairs, so it is given twice that: where the pairs hold, it holds.
    undetermined : pair -> reason, for pairs with a length that was not measured.
    """
    nominal = nominal_lengths(spec, measured.opening.value)
    items: list[Item] = []
    undetermined: dict[str, str] = {}
    for name, terms in pair_terms(spec.sides).items():
        missing = [k for k in terms if k not in measured.lengths]
        if missing:
            reason = measured.undetermined.get(missing[0], "not seen")
            undetermined[name] = f"{missing[0]}: {reason}"
            continue
        parts = [measured.lengths[k] * c for k, c in terms.items()]
        total = sum(parts[1:], parts[0])
        limit = spec.tolerance.matched * len(terms) / 2
        items.append(
            Item(
                name=name,
                unit="mm",
                nominal=sum(nominal[k] * c for k, c in terms.items()),
                measured=total.value,
                u=measured.u(total),
                low=-limit,
                high=limit,
                remark=CLOSING_REMARK if name.startswith("closing") else "",
            )
        )
    return tuple(items), undetermined
