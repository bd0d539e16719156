"""The command line: ``leerie <verb> SITE.toml [options]``.

Each verb is a file of its own under ``api/verbs`` and is imported only when somebody asks for it, so that
``leerie run`` reaches its relays without the tables and pages of the others.

Exit codes: 0 well, 1 the answer is "no", 2 the request or the file is wrong. Besides these, by the customs
of the shell: 130 stopped by Ctrl-C, 141 the reader of the output went away, 70 a fault of Leerie's own.
Errors go to standard error, one line each, and never as a traceback unless ``LEERIE_TRACEBACK`` is set.
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

# A new verb is a file api/verbs/<verb>.py with a click command of the same name, and its place in this list.
VERBS = ("check", "nights", "why", "run", "demo", "hours", "year", "wiring", "backup")

WRONG = 2
FAULT_OF_OURS = 70  # EX_SOFTWARE of BSD's sysexits.h: no script takes it for an answer
STOPPED_BY_PERSON = 130  # 128 + SIGINT, as a shell has it
READER_GONE = 141  # 128 + SIGPIPE, as a shell has it


class LazyGroup(click.Group):
    """The group of all verbs: imports each when it is asked for, and turns what goes wrong into one line."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's own signature
        """Name the verbs, in the order in which a person meets them."""
        return list(VERBS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Import one verb."""
        if cmd_name not in VERBS:
            return None
        command = getattr(importlib.import_module(f"api.cli.{cmd_name}"), cmd_name)
        assert isinstance(command, click.Command), f"api/verbs/{cmd_name}.py holds a command named {cmd_name}"
        return command

    def invoke(self, ctx: click.Context) -> Any:  # noqa: ANN401 - click's own signature
        """Run the verb; Ctrl-C, and a reader of its output that goes away, end it without a word."""
        try:
            answer = super().invoke(ctx)
            sys.stdout.flush()
        except KeyboardInterrupt:
            raise click.exceptions.Exit(STOPPED_BY_PERSON) from None
        except BrokenPipeError:
            _forget_reader()
            raise click.exceptions.Exit(READER_GONE) from None
        return answer

    def main(
        self,
        args: Sequence[str] | None = None,
        prog_name: str | None = None,
        complete_var: str | None = None,
        standalone_mode: bool = True,
        **extra: Any,  # noqa: ANN401 - click's own signature
    ) -> Any:  # noqa: ANN401 - click's own signature
        """Run one command line and leave with its exit code."""

        def run() -> Any:  # noqa: ANN401 - whatever the verb returns
            return super(LazyGroup, self).main(
                args, prog_name or "leerie", complete_var, standalone_mode=False, **extra
            )

        if not standalone_mode:
            return run()
        for stream in (sys.stdout, sys.stderr):
            # A terminal that cannot show a letter shows a question mark; nothing stops for it.
            if hasattr(stream, "reconfigure"):
                stream.reconfigure(errors="replace")
        sys.exit(_exit_code_of(run))


def _exit_code_of(run: Callable[[], Any]) -> int:
    """Run, and say how it went as an exit code; what went wrong is told on standard error."""
    try:
        answer = run()
    except click.exceptions.Abort:
        return STOPPED_BY_PERSON
    except click.ClickException as error:
        told = " ".join(error.format_message().split()).rstrip(".")
        _tell(f"{_place(error)}: {told}{_hint(error)}")
        return WRONG
    except (LeerieError, OSError) as error:
        if os.environ.get("LEERIE_TRACEBACK"):
            raise
        _tell(*(line for line in _words(error).splitlines() if line.strip()))
        return WRONG
    except Exception as error:
        if os.environ.get("LEERIE_TRACEBACK"):
            raise
        told = " ".join(str(error).split())
        _tell(f"leerie: a fault of its own: {type(error).__name__}: {told}; LEERIE_TRACEBACK=1 shows where")
        return FAULT_OF_OURS
    return answer if isinstance(answer, int) else 0


def _tell(*lines: str) -> None:
    """Write lines to standard error; nobody may be listening there either."""
    try:
        for line in lines:
            click.echo(line, err=True)
    except OSError:
        return


def _words(error: Exception) -> str:
    """Say what went wrong: a site file's problems name their file and line, the rest is told in our name."""
    if isinstance(error, OSError) and not isinstance(error, LeerieError):
        what = f"{error.filename}: " if error.filename else ""
        return f"leerie: {what}{error.strerror or error}"
    return str(error) if isinstance(error, SiteFileError) else f"leerie: {error}"


def _place(error: click.ClickException) -> str:
    """Name the verb in which a request went wrong."""
    context = getattr(error, "ctx", None)
    return context.command_path if context is not None else "leerie"


def _hint(error: click.ClickException) -> str:
    """Say where help is, for a request that was not understood."""
    return f"; see {_place(error)} --help" if isinstance(error, click.UsageError) else ""


def _forget_reader() -> None:
    """Write what is still to come to nowhere: who read our output has ended, as ``head`` does."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _show_version(ctx: click.Context, _option: click.Parameter, wanted: bool) -> None:
    """Print the version of the installed package."""
    if not wanted or ctx.resilient_parsing:
        return
    from importlib.metadata import PackageNotFoundError, version

    try:
        number = version("leerie")
    except PackageNotFoundError:
        number = "(not installed: running from its source)"
    from controller.clock.tzdata import use_newest_zone_data

    click.echo(f"leerie {number}, time zone rules {use_newest_zone_data()}")
    ctx.exit()


@click.group(
    "leerie",
    cls=LazyGroup,
    invoke_without_command=True,
    subcommand_metavar="VERB SITE.toml [OPTIONS]",
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Exit codes: 0 well, 1 the answer is “no”, 2 the request or the file is wrong.",
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

    Begin with `leerie demo`, which needs nothing. Then write a site file, see what `leerie check` says of it
    and what `leerie nights` makes of it, and let `leerie run` keep the lights.
    """
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


if __name__ == "__main__":
    main()
