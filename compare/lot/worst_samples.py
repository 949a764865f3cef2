"""The worst samples of a lot looked at once more, for their pictures: the ledger keeps figures only."""

from capture.errors import FoldgaugeError
from compare.jobs.check_dummy import Inspection, check
from compare.lot.assess_lot import Assessment
from compare.lot.run.runner import Run
from compare.lot.run.samples import Sample
from compare.verdict.conformity import Verdict


def worst_samples(a: Assessment) -> tuple[Sample, ...]:
    """Return the worst samples that do not surely conform."""
    return tuple(s for s in a.worst() if s.verdict is not Verdict.CONFORMS)


def look_again(a: Assessment, run: Run) -> dict[str, Inspection]:
    """Check the worst samples again; sample -> inspection, those left out whose photos are gone."""
    out: dict[str, Inspection] = {}
    for sample in worst_samples(a):
        paths = [s.path for shots in run.keys.values() for s in shots if s.sample == sample.name]
        paths = [p for p in paths if p.name in sample.photos]
        if not paths:
            continue
        try:
            out[sample.name] = check(paths, a.spec, a.checking.setup, rule=a.checking.rule)
        except FoldgaugeError:
            continue
    return out
