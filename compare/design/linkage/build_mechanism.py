"""The mechanism of any spec."""

from compare.design.linkage.mechanism import Mechanism
from compare.design.spec.spec import Spec


def mechanism_of(spec: Spec) -> Mechanism:
    """Return the linkage of a design.

    Raises
    ------
    SpecError : a drawn linkage that is not straight, loose or over-held.
    """
    if spec.vfold is not None:
        from compare.design.constructions.vfold import mechanism_of_vfold

        return mechanism_of_vfold(spec.base, spec.vfold)
    if spec.pillar is not None:
        from compare.design.constructions.pillar import mechanism_of_pillar

        return mechanism_of_pillar(spec.base, spec.pillar)
    if spec.drawing is not None:
        from compare.design.constructions.drawn import mechanism_of_drawing

        return mechanism_of_drawing(spec.drawing, spec.base.opening_deg)
    from compare.design.constructions.parallel_folds import mechanism_of_stages

    return mechanism_of_stages(spec.base, spec.stages)
