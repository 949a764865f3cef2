"""foldgauge sheet: the marker sheet to print."""

from pathlib import Path

import click


@click.command()
@click.option("-o", "--output", type=click.Path(path_type=Path), default=Path("sheet.pdf"), show_default=True)
@click.option(
    "--paper", type=click.Choice(["a4", "a3", "letter", "tabloid"]), default="a4", show_default=True
)
@click.option(
    "--dark-field/--no-dark-field",
    default=True,
    show_default=True,
    help="Fill the window nearly black (backdrop use wants it).",
)
def sheet(output: Path, paper: str, dark_field: bool) -> None:
    """Write the marker sheet to print at 100 %."""
    from capture.sheet_pdf import write_sheet

    write_sheet(output, paper, dark_field)
    click.echo(f"{output}: print it at 100 % (actual size) and measure the two check bars with a steel rule.")
