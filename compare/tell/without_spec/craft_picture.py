"""The photo of a dummy judged without a spec, with what was measured drawn in and the answer over it."""

from pathlib import Path

from compare.jobs.judge_dummy import Judgement
from compare.tell.check.annotated_photo import GROUND
from compare.tell.trace.trace_picture import write_traced_picture
from compare.tell.words.craft_words import craft_answer


def write_judged_picture(judgement: Judgement, path: Path, *, replace: bool = False) -> None:
    """Write the annotated photo as PNG; the file appears whole or not at all.

    Raises
    ------
    OutputError : it cannot be written.
    """
    findings = judgement.findings
    write_traced_picture(
        judgement.tracing,
        path,
        headline=craft_answer(findings),
        ground=GROUND[findings.verdict],
        replace=replace,
    )
