"""foldgauge check without --spec: judged by the rules of the craft."""

import sys
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

from capture.errors import FoldgaugeError
from compare.commands.set_up_options import Rule

if TYPE_CHECKING:
    from capture.setup import Setup


def require_spec(options: Mapping[str, bool]) -> None:
    """Refuse what only a design can answer: what is asked -> whether it was given."""
    for option, given in options.items():
        if given:
            raise FoldgaugeError(
                f"{option}: a spec is needed for this; give --spec, or draft one with "
                "'foldgauge measure --draft'"
            )


def judge_one(
    photo: Path,
    setup: "Setup",
    *,
    taken_for: str | None,
    rule: Rule,
    points: Path | None,
    as_json: bool,
    annotate: Path | None,
    replace: bool,
    remember: Callable[[Iterable[str]], None],
) -> str:
    """Judge the dummy in a photo, write the picture, print the answer; return the verdict in words.

    Parameters
    ----------
    remember : keeps the bars that were given for the papers they were good for.
    """
    from compare.jobs.judge_dummy import judge
    from compare.without_spec.craft_rules import As
    from measure.joints.by_hand import read_points

    judgement = judge(
        photo,
        setup,
        taken_for=None if taken_for is None else As(taken_for),
        rule=rule,
        points=() if points is None else read_points(points),
    )
    if annotate is not None:
        from compare.tell.without_spec.craft_picture import write_judged_picture

        write_judged_picture(judgement, annotate, replace=replace)
    remember([judgement.tracing.sighting.sheet.paper])
    if as_json:
        from compare.tell.check.check_json import to_text
        from compare.tell.without_spec.craft_json import judgement_dict

        click.echo(to_text(judgement_dict(judgement)))
    else:
        from compare.tell.without_spec.craft_terminal import print_judgement

        print_judgement(judgement, sys.stdout)
    return judgement.findings.verdict.value
