"""foldgauge design: check a design before cutting."""

import sys
from pathlib import Path

import click


@click.command()
@click.argument("spec", type=click.Path(path_type=Path))
def design(spec: Path) -> None:
    """Check a design SPEC before cutting.

    Its equalities and sums, how it moves, and how far it reaches when shut.
    """
    from compare.design.spec import load_spec
    from compare.report.design_text import print_design

    print_design(load_spec(spec), sys.stdout)
