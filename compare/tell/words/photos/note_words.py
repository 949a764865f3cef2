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
from measure.joints.error_budget import COVERAGE
from measure.shut.shut_outline import SEEN_MM, Beyond


def inspection_notes(inspection: Inspection) -> list[str]:
    """Return all notes on a checked dummy: the closed photo, the hand, several photos, each photo."""
    return [
        *(shut_notes(inspection.closed) if inspection.closed is not None else ()),
        *hand_notes(inspection.shots[0].profile.by_hand),
        *(several_sentence(n) for n in inspection.gathered.notes),
        *_photo_notes(inspection.shots),
    ]


def tracing_notes(tracing: Tracing) -> list[str]:
    """Return all notes on a dummy measured without a design, each once."""
    notes = [
        *hand_notes(tracing.profile.by_hand),
        *traced_placing_notes(tracing.placing.assumed),
        *map(measured_note, tracing.untold.notes),
        *map(view_note, tracing.view.notes),
        *(photo_advice(a) for a in tracing.advice if a.kind not in OF_THE_PRINT),
        *map(measured_note, tracing.profile.notes),
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


def shut_notes(closed: ShutPhoto) -> list[str]:
    """Return what a closed photo shows beyond the page, and what is to be known about it."""
    told = [f"Closed photo: {_beyond(p)}." for p in closed.outline.beyond]
    if not told:
        told = [f"Closed photo: no card beyond the page (more than {SEEN_MM:g} mm would be seen)."]
    known = [*map(closed_note, closed.taken), *map(measured_note, closed.outline.notes)]
    return [*told, *(f"closed photo: {note}" for note in known)]


def _beyond(p: Beyond) -> str:
    start = "the spine" if p.edge in ("head", "tail") else "the tail"
    return (
        f"card sticks out {p.amount_mm:.1f} ±{COVERAGE * p.u_mm:.1f} mm beyond the {p.edge}, "
        f"{max(p.from_mm, 0.0):.0f} to {p.to_mm:.0f} mm from {start}"
    )


def several_sentence(note: SeveralNote) -> str:
    """Return what several photos say of each other."""
    match note:
        case PhotosApart(photo, joint, apart_mm):
            return (
                f"The photos do not agree: {photo} shows the {joint} {apart_mm:.1f} mm from "
                "where the others show it; one of them was misread, or the dummy was touched between them."
            )
        case NearEndApart(panel, depth_mm):
            return (
                f"The near end of {panel} stands {abs(depth_mm):.1f} mm "
                f"{'in front of' if depth_mm > 0 else 'behind'} the others; this was taken into account."
            )
        case LengthsApart(length, first_mm, other_mm, photos):
            return (
                f"The photos do not agree about {length}: {first_mm:.1f} mm in the first, {other_mm:.1f} mm "
                f"in {', '.join(photos)}."
            )
        case OtherOpening(photos, opening_deg):
            return (
                f"Also {', '.join(photos)}, which shows the dummy at {opening_deg:.0f} degrees; used for its "
                "lengths."
            )


def _photo_notes(shots: Sequence[Shot]) -> list[str]:
    """Return the notes of every photo; with several photos each says which one it is about."""
    if len(shots) == 1:
        return _notes(shots[0])
    told: dict[str, list[str]] = {}
    for shot in shots:
        for note in _notes(shot):
            told.setdefault(note, []).append(shot.photo.name)
    return [
        note if len(names) == len(shots) else f"{', '.join(names)}: {note}" for note, names in told.items()
    ]


def _notes(shot: Shot) -> list[str]:
    return [
        *placing_notes(shot.placing.assumed),
        *map(view_note, shot.view.notes),
        *(photo_advice_line(a) for a in shot.advice if a.kind not in OF_THE_PRINT),
        *map(measured_note, shot.profile.notes),
    ]
