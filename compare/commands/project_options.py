"""What a folder remembers (`foldgauge.toml`), in the place of options that were not given."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from compare.commands.set_up_options import Rule, Use

if TYPE_CHECKING:
    from compare.desk.project.project_folder import Project

NAME = "foldgauge.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """Options of a check that a folder may remember; None = neither given nor remembered."""

    spec: Path | None
    use: Use | None
    bars: tuple[float, ...] | None
    printer: Path | None
    camera: Path | None
    rule: Rule | None


def with_project(given: Given, *, by_craft: bool) -> Given:
    """Return it with what the folder's project remembers filled in, and say on stderr what that was.

    by_craft : no spec is wanted.

    Raises
    ------
    UsageError : no spec was given, and the project has several dummies.
    """
    here = Path.cwd()
    if not any((p / NAME).is_file() for p in (here, *here.parents)):
        return given
    from compare.desk.project.project_folder import project_around

    project = project_around(here)
    assert project is not None
    remembered = project.remembered()
    filled = given
    if given.spec is None and not by_craft:
        filled = replace(filled, spec=spec_of(project, here))
    if given.bars is None and given.printer is None and remembered.bars_mm:
        filled = replace(filled, bars=remembered.bars_mm)
    if given.camera is None and remembered.camera:
        filled = replace(filled, camera=project.root / remembered.camera)
    filled = replace(filled, use=given.use or remembered.use, rule=given.rule or remembered.rule)
    told = ", ".join(_told(given, filled))
    if told:
        click.echo(f"From {NAME}: {told}", err=True)
    return filled


def _told(given: Given, filled: Given) -> Iterator[str]:
    if filled.spec is not given.spec and filled.spec is not None:
        yield f"--spec {filled.spec.name}"
    if filled.bars is not given.bars and filled.bars is not None:
        yield f"--bars {','.join(f'{v:g}' for v in filled.bars)}"
    if filled.camera is not given.camera and filled.camera is not None:
        yield f"--camera {filled.camera.name}"
    if given.use is None and filled.use != "auto":
        yield f"--use {filled.use}"
    if given.rule is None and filled.rule != "guarded":
        yield f"--rule {filled.rule}"


def spec_of(project: "Project", here: Path) -> Path | None:
    """Return the spec of the dummy whose folder this is, or of the only one; None if there is no dummy.

    Raises
    ------
    UsageError : there are several, and it is not said which.
    """
    inside = here.resolve().relative_to(project.root).parts
    dummies = {d.name: d.spec for d in project.dummies()}
    if inside and inside[0] in dummies:
        return dummies[inside[0]]
    if len(dummies) > 1:
        names = ", ".join(sorted(dummies))
        raise click.UsageError(
            f"{NAME} is of a folder with several dummies ({names}): give --spec, or work in the folder of one"
        )
    return next(iter(dummies.values()), None)
