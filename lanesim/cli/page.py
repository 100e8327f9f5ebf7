"""`lanesim page`: the lane in the browser."""

from __future__ import annotations

from pathlib import Path

import click

FOLDER = "lanesim-page"


@click.command("page", short_help="The lane in your browser, under your hand.")
@click.argument("folder", required=False, default=FOLDER, metavar="[FOLDER]",
                type=click.Path(path_type=Path))
@click.option("--port", type=click.IntRange(1024, 65535), metavar="PORT",
              help="Port on this machine. [default: 7430, or any free one]")
@click.option("--no-browser", is_flag=True, help="Only say the address; open no browser.")
def command(folder: Path, port: int | None, no_browser: bool) -> None:
    """Open lanesim's page in your browser; stop it with Ctrl-C.

    FOLDER (default: lanesim-page, made if it is not there) is the page's whole memory: players,
    balls, patterns, events and shots as plain files, the same that the commands read. The page is
    served on this machine only, and nothing leaves it.

    \b
    lanesim page
    lanesim page my-season
    """
    import os

    from ..page.server import run

    run(folder, port=port, browser=not no_browser, say=lambda text: click.echo(text, err=True))
    # What is still being computed is of no use to anybody now, and files are written by moving
    # them into place: do not wait for it.
    os._exit(0)
