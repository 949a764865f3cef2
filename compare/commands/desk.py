"""foldgauge desk: the page in the browser."""

from pathlib import Path

import click


@click.command()
@click.argument("folder", required=False, type=click.Path(path_type=Path), default=Path("."))
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Port (default: any that is free).")
@click.option("--no-browser", is_flag=True, help="Only print the address.")
def desk(folder: Path, port: int, no_browser: bool) -> None:
    """Open the desk: a page in the browser for the dummies of a FOLDER (default: this one).

    It serves this machine only, and nothing leaves it. End it with Ctrl-C; nothing finished is lost.
    """
    from compare.desk.desk_server import serve_desk

    def tell(address: str) -> None:
        click.echo(f"The desk is open: {address}")
        click.echo("Keep this running; Ctrl-C closes the desk.", err=True)

    serve_desk(folder, port, browser=not no_browser, tell=tell)
