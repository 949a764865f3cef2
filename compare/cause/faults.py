"""All that may have gone wrong with a dummy: each length alone, and what its construction knows besides."""

from collections.abc import Sequence

from compare.design.craft.fault import Fault, FaultKind, fault_of_length
from compare.design.spec.spec import Spec
from compare.quantities.measured import feet_lengths
from compare.vocabulary import Kind


def feet_apart(feet: tuple[str, str]) -> Fault:
    """Where the spine is not seen, nobody can say which of the two feet is wrong."""
    return Fault(kind=FaultKind.FEET_APART, name=Kind.FEET, pattern=dict.fromkeys(feet, 0.5))


def _plain(names: Sequence[str], own: Sequence[Fault]) -> list[Fault]:
    """Return the faults of single lengths for which the construction has none of its own."""
    told = {f.name for f in own}
    return [fault_of_length(k) for k in names if k not in told]


def faults_of(spec: Spec, *, spine_seen: bool) -> tuple[Fault, ...]:
    """Return all single faults of a dummy that an end-on photo can show.

    Without the spine a moved foot shows only in the distance of the feet; the fault that says so then
    comes first, so that it stands for all those that look the same.
    """
    mechanism = spec.mechanism
    names = [k for k in mechanism.lengths if k in mechanism.ends]
    feet = feet_lengths(mechanism)
    own = spec.building.faults(names)
    first = [] if spine_seen or feet is None else [feet_apart(feet)]
    return (*first, *_plain(names, own), *own)
