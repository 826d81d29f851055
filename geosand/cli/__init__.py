"""The command ``geosand``: one file a verb, loaded only when it is called."""

from __future__ import annotations

import importlib
import os
from typing import Any

import click

from geosand import __version__
from geosand.errors import stop_code

#: verb -> what it does, in one line; the module of the same name holds the command
VERBS = {
    "new": "Set up a site folder, with boundaries from a file if there is one.",
    "bring": "Bring a new boundary survey into a site; the old one is kept.",
    "check": "Read a site folder and say what is wrong or worth knowing.",
    "areas": "Area register of every surface, with its uncertainty.",
    "balance": "Spread, on surfaces and overthrow of each dressing.",
    "season": "Depth each surface has had so far against its target.",
    "plan": "The next dressing: rates, sand to order, spreader setting, headings.",
    "place": "Where to lay the trays; field sheet; how many catches are needed.",
    "map": "Write the site's map, one HTML file that works offline.",
    "account": "The whole job on one site: summary, map and printable report.",
    "many": "Many sites: tables of all of them, and a page that compares them.",
}


class Verbs(click.Group):
    """A group that imports a verb's module when the verb is called, not before."""

    def list_commands(self, context: click.Context) -> list[str]:
        """Verbs in the order of the work."""
        return list(VERBS)

    def get_command(self, context: click.Context, name: str) -> click.Command | None:
        """The verb's command, or None for an unknown one."""
        if name not in VERBS:
            return None
        module = importlib.import_module(f"geosand.cli.{name}")
        command: click.Command = module.command
        return command

    def resolve_command(
        self, context: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The verb that is named first; a slip of the hand is told with the verb that was meant."""
        first = args[0]
        if first in VERBS or first.startswith("-"):
            return super().resolve_command(context, args)
        if os.path.isdir(first):
            context.fail(
                f"{first} is a folder: say what to do with it, as in geosand account {first}"
            )
        from difflib import get_close_matches

        meant = get_close_matches(first.lower(), VERBS, n=1)
        hint = f"; did you mean {meant[0]}?" if meant else f"; the verbs are {', '.join(VERBS)}"
        context.fail(f"there is no verb {first!r}{hint}")

    def invoke(self, context: click.Context) -> Any:
        """The verb; a stop while its libraries are loaded ends quietly, as nothing was begun."""
        try:
            return super().invoke(context)
        except KeyboardInterrupt as stop:
            click.echo("Stopped.", err=True)
            context.exit(stop_code(stop))

    def format_commands(self, context: click.Context, formatter: click.HelpFormatter) -> None:
        """The verbs with their one line each, without importing any."""
        with formatter.section("Verbs"):
            formatter.write_dl(list(VERBS.items()))


@click.group(cls=Verbs, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(version=__version__)
def main() -> None:
    """How much sand really landed on each surface, dressing by dressing and over the season."""
