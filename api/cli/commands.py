"""The commands of ``leerie <command> SITE.toml [options]``, through click.

Each command is a file of its own in this folder and is imported only when it is asked for.

Exit codes: 0 done, 1 the answer is "no", 2 the request or the file is wrong. Besides these, as a shell has
them: 130 stopped by Ctrl-C, 141 the reader of the output went away; and 70 for an internal error. Errors go
to standard error, one line each, and never as a traceback unless ``LEERIE_TRACEBACK`` is set.
"""

import contextlib
import functools
import importlib
import os
import sys
from collections.abc import Callable
from typing import Any

import click

from api.cli.main import READER_GONE, REQUEST_WRONG, STOPPED_BY_PERSON, exit_code_of, print_error

# A new command is a file api/cli/<command>.py with a click command of the same name, and its place here.
COMMANDS = (
    "new",
    "check",
    "nights",
    "why",
    "run",
    "demo",
    "hours",
    "replaced",
    "report",
    "year",
    "wiring",
    "clock",
    "doctor",
    "access",
    "backup",
)


class LazyGroup(click.Group):
    """Imports each command when it is asked for, and turns every error into one line."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's own signature
        """Return the commands, in the order in which a person meets them."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Import one command."""
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = getattr(importlib.import_module(f"api.cli.{cmd_name}"), cmd_name)
        return command

    def invoke(self, ctx: click.Context) -> Any:  # noqa: ANN401 - click's own signature
        """Run the command; Ctrl-C, and a reader of its output that goes away, end it silently."""
        try:
            result = super().invoke(ctx)
            sys.stdout.flush()
        except KeyboardInterrupt:
            raise click.exceptions.Exit(STOPPED_BY_PERSON) from None
        except BrokenPipeError:
            with contextlib.suppress(OSError, ValueError):  # what is still buffered goes nowhere
                os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            raise click.exceptions.Exit(READER_GONE) from None
        return result

    def main(self, *args: Any, standalone_mode: bool = True, **extra: Any) -> Any:  # noqa: ANN401 - click's own
        """Run one command line; standalone, leave with its exit code."""
        arguments: dict[str, Any] = {"prog_name": "leerie", **extra, "standalone_mode": False}
        run: Callable[[], Any] = functools.partial(super().main, *args, **arguments)
        if not standalone_mode:
            return run()
        sys.exit(exit_code_of(lambda: _refuse_wrong_requests(run)))


def _refuse_wrong_requests(run: Callable[[], Any]) -> Any:  # noqa: ANN401 - whatever the command returns
    try:
        return run()
    except click.exceptions.Abort:
        return STOPPED_BY_PERSON
    except click.ClickException as error:
        context = getattr(error, "ctx", None)
        command = context.command_path if context is not None else "leerie"
        what = " ".join(error.format_message().split()).rstrip(".")
        see = f"; see {command} --help" if isinstance(error, click.UsageError) else ""
        print_error(f"{command}: {what}{see}")
        return REQUEST_WRONG


def _show_version(ctx: click.Context, _option: click.Parameter, wanted: bool) -> None:
    if not wanted or ctx.resilient_parsing:
        return
    from importlib.metadata import PackageNotFoundError, version

    from controller.clock.tzdata import use_newest_zone_data

    try:
        number = version("leerie")
    except PackageNotFoundError:
        number = "(not installed: running from its source)"
    click.echo(f"leerie {number}, time zone rules {use_newest_zone_data()}")
    ctx.exit()


@click.group(
    "leerie",
    cls=LazyGroup,
    invoke_without_command=True,
    subcommand_metavar="COMMAND SITE.toml [OPTIONS]",
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Exit codes: 0 done, 1 the answer is “no”, 2 the request or the file is wrong.",
)
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_show_version,
    help="Show the version.",
)
@click.pass_context
def leerie(ctx: click.Context) -> None:
    """Light a garden at dusk and put it out at midnight, every night of the year.

    Start with `leerie demo`, which needs nothing. Then write a site file, check it with `leerie check`, look
    at the plan with `leerie nights`, and light the garden with `leerie run`.
    """
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())
