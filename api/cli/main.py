"""The command line: ``leerie <command> SITE.toml [options]``.

Each command is a file of its own in this folder and is imported only when it is asked for, so that
``leerie run`` reaches its relays without the tables of the others.

Exit codes: 0 done, 1 the answer is "no", 2 the request or the file is wrong. Besides these, as a shell has
them: 130 stopped by Ctrl-C, 141 the reader of the output went away; and 70 for an internal error. Errors go
to standard error, one line each, and never as a traceback unless ``LEERIE_TRACEBACK`` is set.
"""

from __future__ import annotations

import contextlib
import importlib
import os
import sys
from collections.abc import Callable, Sequence
from typing import Any

import click

from config.errors import LeerieError, SiteFileError

# A new command is a file api/cli/<command>.py with a click command of the same name, and its place here.
COMMANDS = ("check", "nights", "why", "run", "demo", "hours", "year", "wiring", "backup")

REQUEST_WRONG = 2
INTERNAL_ERROR = 70  # EX_SOFTWARE of BSD's sysexits.h
STOPPED_BY_PERSON = 130  # 128 + SIGINT
READER_GONE = 141  # 128 + SIGPIPE


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

    def main(
        self,
        args: Sequence[str] | None = None,
        prog_name: str | None = None,
        complete_var: str | None = None,
        standalone_mode: bool = True,
        **extra: Any,  # noqa: ANN401 - click's own signature
    ) -> Any:  # noqa: ANN401 - click's own signature
        """Run one command line and leave with its exit code."""

        def run() -> Any:  # noqa: ANN401 - whatever the command returns
            return super(LazyGroup, self).main(
                args, prog_name or "leerie", complete_var, standalone_mode=False, **extra
            )

        if not standalone_mode:
            return run()
        for stream in (sys.stdout, sys.stderr):
            # A terminal that cannot show a letter shows a question mark.
            if hasattr(stream, "reconfigure"):
                stream.reconfigure(errors="replace")
        sys.exit(_exit_code_of(run))


def _exit_code_of(run: Callable[[], Any]) -> int:
    """Run, print what went wrong on standard error, and return the exit code."""
    try:
        result = run()
    except click.exceptions.Abort:
        return STOPPED_BY_PERSON
    except click.ClickException as error:
        _print_error(_click_message(error))
        return REQUEST_WRONG
    except Exception as error:
        if os.environ.get("LEERIE_TRACEBACK"):
            raise
        if isinstance(error, LeerieError | OSError):
            _print_error(_message(error))
            return REQUEST_WRONG
        what = " ".join(f"{type(error).__name__}: {error}".split())
        _print_error(f"leerie: internal error: {what}; run it again with LEERIE_TRACEBACK=1 to see where")
        return INTERNAL_ERROR
    return result if isinstance(result, int) else 0


def _print_error(text: str) -> None:
    """Write the lines of a text to standard error; nobody may be reading there either."""
    with contextlib.suppress(OSError):
        for line in text.splitlines():
            if line.strip():
                click.echo(line, err=True)


def _click_message(error: click.ClickException) -> str:
    """Say which command was called wrongly, how, and where help is."""
    context = getattr(error, "ctx", None)
    command = context.command_path if context is not None else "leerie"
    what = " ".join(error.format_message().split()).rstrip(".")
    return f"{command}: {what}" + (f"; see {command} --help" if isinstance(error, click.UsageError) else "")


def _message(error: LeerieError | OSError) -> str:
    """Say what went wrong; a site file's problems name their file and line themselves."""
    if isinstance(error, SiteFileError):
        return str(error)
    if isinstance(error, LeerieError):
        return f"leerie: {error}"
    return f"leerie: {f'{error.filename}: ' if error.filename else ''}{error.strerror or error}"


def _show_version(ctx: click.Context, _option: click.Parameter, wanted: bool) -> None:
    """Print the version of the installed package."""
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
def main(ctx: click.Context) -> None:
    """Light a garden at dusk and put it out at midnight, every night of the year.

    Start with `leerie demo`, which needs nothing. Then write a site file, check it with `leerie check`, look
    at the plan with `leerie nights`, and light the garden with `leerie run`.
    """
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


if __name__ == "__main__":
    main()
