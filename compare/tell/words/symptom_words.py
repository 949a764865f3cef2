"""What a photo shows beside the lengths, in words."""

from collections.abc import Sequence

from compare.cause.symptoms import Symptom, SymptomKind
from compare.tell.words.name_words import called
from compare.tell.words.plain_words import capital
from compare.units import Unit


def symptom_sentence(symptom: Symptom, unit: Unit) -> str:
    """Return a symptom, a sentence without capital and full stop."""
    s = symptom
    match s.kind:
        case SymptomKind.BOWED:
            return f"{called(s.part)} is bowed by {unit.words(s.amount)}"
        case SymptomKind.BENT:
            return f"{called(s.part)} is not flat: it bends by {s.amount:.1f} degrees outside the leg"
        case SymptomKind.OFF_RIDGE:
            return (
                f"the {s.half} half of the plane passes {unit.words(s.amount)} from the {s.part}: its crease "
                "may lie off it"
            )
        case SymptomKind.OPENING:
            return (
                f"the spread stands open {s.amount:.1f} degrees, not {s.design:g}: its base does not lie as "
                "it should"
            )


def symptom_sentences(symptoms: Sequence[Symptom], unit: Unit) -> list[str]:
    """Return symptoms as whole sentences."""
    return [f"{capital(symptom_sentence(s, unit))}." for s in symptoms]
