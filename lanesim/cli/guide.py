"""`lanesim guide`: the long pages, worked examples and file formats."""

from __future__ import annotations

import click

from ..guide import page, title, topics


@click.command("guide", short_help="Worked examples and file formats.")
@click.argument("topic", required=False)
def command(topic: str | None) -> None:
    """Print the page on TOPIC; without one, list the topics.

    \b
    lanesim guide
    lanesim guide files
    """
    if topic is not None:
        click.echo(page(topic).rstrip())
        return
    click.echo("lanesim guide TOPIC prints a page:\n")
    wide = max(map(len, topics()))
    for name in topics():
        click.echo(f"  {name:<{wide}}  {title(name)}")
