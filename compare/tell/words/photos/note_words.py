"""What the user should know about the photos and what was assumed, in sentences."""

from collections.abc import Mapping, Sequence

from capture.advice import OF_THE_PRINT
from compare.jobs.check_dummy import Inspection
from compare.jobs.measure_dummy import Tracing
from compare.jobs.one_photo import Shot
from compare.jobs.several_photos import LengthsApart, NearEndApart, OtherOpening, PhotosApart, SeveralNote
from compare.jobs.shut_photo import ShutPhoto
from compare.tell.words.photos.measuring_words import measured_note
from compare.tell.words.photos.photo_advice_words import photo_advice, photo_advice_line
from compare.tell.words.photos.placing_notes import placing_notes, traced_placing_notes
from compare.tell.words.photos.view_words import closed_note, view_note
from compare.units import MM, Unit, unit_of
from measure.joints.error_budget import COVERAGE
from measure.shut.shut_outline import SEEN_MM, Beyond


def inspection_notes(inspection: Inspection) -> list[str]:
    """Return all notes on a checked dummy: the closed photo, the hand, several photos, each photo."""
    unit = unit_of(inspection.spec.units)
    return [
        *(shut_notes(inspection.closed, unit) if inspection.closed is not None else ()),
        *hand_notes(inspection.shots[0].profile.by_hand),
        *(several_sentence(n, unit) for n in inspection.gathered.notes),
        *_photo_notes(inspection.shots, unit),
    ]


def tracing_notes(tracing: Tracing) -> list[str]:
    """Return all notes on a dummy measured without a design, each once."""
    notes = [
        *hand_notes(tracing.profile.by_hand),
        *traced_placing_notes(tracing.placing.assumed),
        *(measured_note(n, MM) for n in tracing.untold.notes),
        *map(view_note, tracing.view.notes),
        *(photo_advice(a, MM) for a in tracing.advice if a.kind not in OF_THE_PRINT),
        *(measured_note(n, MM) for n in tracing.profile.notes),
    ]
    return list(dict.fromkeys(notes))


def hand_notes(by_hand: Mapping[str, float]) -> list[str]:
    """Return which joints were set by hand, and how surely; [] if none.

    Parameters
    ----------
    by_hand : joint -> standard uncertainty of the hand, px.
    """
    if not by_hand:
        return []
    sds = sorted(set(by_hand.values()))
    sure = f"{sds[0]:g}" if len(sds) == 1 else f"{sds[0]:g} to {sds[-1]:g}"
    return [
        f"Pointed at by hand: {', '.join(by_hand)}; standard uncertainty of the hand {sure} px in either "
        'direction. Lengths that end there are marked "(hand)".'
    ]


def shut_notes(closed: ShutPhoto, unit: Unit) -> list[str]:
    """Return what a closed photo shows beyond the page, and what is to be known about it."""
    told = [f"Closed photo: {_beyond(p, unit)}." for p in closed.outline.beyond]
    if not told:
        told = [f"Closed photo: no card beyond the page (more than {unit.words(SEEN_MM)} would be seen)."]
    known = [closed_note(fact, unit) for fact in closed.taken]
    known += [measured_note(note, unit) for note in closed.outline.notes]
    return [*told, *(f"closed photo: {note}" for note in known)]


def _beyond(p: Beyond, unit: Unit) -> str:
    start = "the spine" if p.edge in ("head", "tail") else "the tail"
    return (
        f"card sticks out {unit.words(p.amount_mm)} (± {unit.words(COVERAGE * p.u_mm)}) beyond the {p.edge}, "
        f"from {unit.words(max(p.from_mm, 0.0))} to {unit.words(p.to_mm)} from {start}"
    )


def several_sentence(note: SeveralNote, unit: Unit) -> str:
    """Return what several photos say of each other."""
    match note:
        case PhotosApart(photo, joint, apart_mm):
            return (
                f"The photos do not agree: {photo} shows the {joint} {unit.words(apart_mm)} from "
                "where the others show it; one of them was misread, or the dummy was touched between them."
            )
        case NearEndApart(panel, depth_mm):
            return (
                f"The near end of {panel} stands {unit.words(abs(depth_mm))} "
                f"{'in front of' if depth_mm > 0 else 'behind'} the others; this was taken into account."
            )
        case LengthsApart(length, first_mm, other_mm, photos):
            return (
                f"The photos do not agree about {length}: {unit.words(first_mm)} in the first, "
                f"{unit.words(other_mm)} in {', '.join(photos)}."
            )
        case OtherOpening(photos, opening_deg):
            return (
                f"Also {', '.join(photos)}, which shows the dummy at {opening_deg:.0f} degrees; used for its "
                "lengths."
            )


def _photo_notes(shots: Sequence[Shot], unit: Unit) -> list[str]:
    """Return the notes of every photo; with several photos each says which one it is about."""
    if len(shots) == 1:
        return _notes(shots[0], unit)
    told: dict[str, list[str]] = {}
    for shot in shots:
        for note in _notes(shot, unit):
            told.setdefault(note, []).append(shot.photo.name)
    return [
        note if len(names) == len(shots) else f"{', '.join(names)}: {note}" for note, names in told.items()
    ]


def _notes(shot: Shot, unit: Unit) -> list[str]:
    return [
        *placing_notes(shot.placing.assumed, unit),
        *map(view_note, shot.view.notes),
        *(photo_advice_line(a, unit) for a in shot.advice if a.kind not in OF_THE_PRINT),
        *(measured_note(n, unit) for n in shot.profile.notes),
    ]
