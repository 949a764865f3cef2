"""foldgauge sheet: the marker sheet to print."""

from pathlib import Path

import click

from compare.commands.set_up_options import Output, check_outputs, force_option


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
@click.option("--board", is_flag=True, help="Write the calibration board for 'foldgauge camera' instead.")
@force_option
def sheet(output: Path, paper: str, dark_field: bool, board: bool, force: bool) -> None:
    """Write the marker sheet to print at 100 %: sheet with sill, doorstep and apron, and how to use them."""
    from capture.sheet.sheet_pdf import BOARD_PDF, SHEET_PDF, write_board, write_sheet

    check_outputs([Output("--output", output, BOARD_PDF if board else SHEET_PDF)], (), replace=force)
    if board:
        write_board(output, paper, replace=force)
        click.echo(f"{output}: print it, keep it flat, and take 8 to 15 photos of it for 'foldgauge camera'.")
        return
    write_sheet(output, paper, dark_field, replace=force)
    click.echo(f"{output}: print it at 100 % (actual size) and measure the two check bars with a steel rule.")
