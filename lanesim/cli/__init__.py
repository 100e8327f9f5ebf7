"""The `lanesim` command: one small module per subcommand, imported only when it is run.

Adding a command: write lanesim/cli/NAME.py with a `command` (click.Command) in it, and a line in
COMMANDS. Anything heavy (numpy, numba, scipy, matplotlib) is imported inside functions, so that
`lanesim --help` answers at once; tests/test_floors.py holds that.
"""

from __future__ import annotations

import difflib
import functools
import importlib
import importlib.util
from typing import Any

import click

from .. import __version__
from ..errors import InputError
from . import guard

# name -> (module, one line of help). The order is that of the listing.
COMMANDS: dict[str, tuple[str, str]] = {
    "page": ("lanesim.cli.page", "The lane in your browser, under your hand."),
    "throw": ("lanesim.cli.throw", "Follow one ball down the lane."),
    "compare": ("lanesim.cli.compare", "Balls, layouts, finishes or patterns under one release."),
    "sweep": ("lanesim.cli.sweep", "A grid over two settings: CSV and a heat map."),
    "patterns": ("lanesim.cli.patterns", "List, show, check and draw oil patterns."),
    "balls": ("lanesim.cli.balls", "List and show balls, check a ball file."),
    "demo": ("lanesim.cli.demo", "Work through an invented event; write its tables and pictures."),
    "carry": ("lanesim.cli.carry", "What the pins do when the ball arrives."),
    "spares": ("lanesim.cli.spares", "Which ball and line for each leave."),
    "score": ("lanesim.cli.score", "Games, averages and what a better strike rate is worth."),
    "drill": ("lanesim.cli.drill", "Lay out and drill a ball; weights against the limits."),
    "lineup": ("lanesim.cli.lineup", "Where to stand and what to aim at."),
    "odds": ("lanesim.cli.odds", "How often a player's spread finds the pocket."),
    "wear": ("lanesim.cli.wear", "What games do to a cover, and when to refresh it."),
    "transition": ("lanesim.cli.transition", "How the oil moves as games go by."),
    "fit": ("lanesim.cli.fit", "Set the model to paths measured on a lane."),
    "bag": ("lanesim.cli.bag", "Which balls to take to an event."),
    "lesson": ("lanesim.cli.lesson", "Short lessons: why a ball does what it does."),
    "guide": ("lanesim.cli.guide", "Worked examples and file formats."),
}


class LazyGroup(click.Group):
    """A group that imports a command's module only to run it, and says errors in one line."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """The commands whose module is there."""
        return [name for name, (module, _) in COMMANDS.items() if importlib.util.find_spec(module)]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return a command, or None if there is none of that name."""
        if cmd_name not in self.list_commands(ctx):
            return None
        return importlib.import_module(COMMANDS[cmd_name][0]).command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """As click does, but a mistyped name gets the nearest one."""
        name = args[0]
        known = self.list_commands(ctx)
        if name not in known and not name.startswith("-"):
            close = difflib.get_close_matches(name.lower(), known, n=1, cutoff=0.4)
            hint = f"did you mean '{close[0]}'? " if close else ""
            raise InputError(f"no command '{name}'; {hint}known: {', '.join(known)}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands from COMMANDS, importing none of them."""
        rows = [(name, COMMANDS[name][1]) for name in self.list_commands(ctx)]
        with formatter.section("Commands"):
            formatter.write_dl(rows)

    def main(self, *args: Any, standalone_mode: bool = True, **kwargs: Any) -> Any:
        """Run; every error ends as one line on stderr and the code that `guard` has for it."""
        run = functools.partial(super().main, *args, standalone_mode=False, **kwargs)
        return guard.run(run) if standalone_mode else run()


@click.group(
    cls=LazyGroup,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="'lanesim COMMAND --help' explains a command. All numbers are computed from a physical "
    "model with stated assumptions; see the README.",
)
@click.version_option(__version__, "-V", "--version", message="lanesim %(version)s")
@click.pass_context
def cli(ctx: click.Context) -> None:
    """How a bowling ball moves on an oil pattern, and what follows for strikes."""
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


def main() -> None:
    """Entry point of the `lanesim` script."""
    guard.prepare_process()
    cli.main(prog_name="lanesim")
