"""The command line: one file a command, found by looking into this folder; heavy imports stay inside functions."""

from __future__ import annotations

import gc
import os
import sys
from pathlib import Path
from typing import Any, NoReturn

import click

from sideoats import __version__
from sideoats.cli._shared import reader_asked, reader_options
from sideoats.errors import SideoatsError, one_line

_HERE = Path(__file__).parent


class _Context(click.Context):
    def make_formatter(self) -> click.HelpFormatter:
        from sideoats.cli._help import Help

        return Help(self)


class _Commands(click.Group):
    """Commands by file name; a command's module is imported when it is run or listed."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted(p.stem.replace("_", "-") for p in _HERE.glob("*.py") if not p.stem.startswith("_"))

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        from importlib import import_module

        if cmd_name not in self.list_commands(ctx):
            return None
        command: click.Command = import_module(f"sideoats.cli.{cmd_name.replace('-', '_')}").command
        command.context_class = _Context
        taken = {word for param in command.params for word in param.opts}
        command.params += [option for option in reader_options() if not taken & set(option.opts)]
        return command


@click.group(
    cls=_Commands,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, prog_name="sideoats")
@click.option(
    "--ledger", metavar="FILE-OR-URL", help="Where the ledger is (else SIDEOATS_LEDGER, else the data folder)."
)
@click.pass_context
def group(ctx: click.Context, ledger: str | None) -> None:
    """What was seen in the field becomes advice: act or wait, where, by when, and what it is worth.

    By itself, at a terminal, it opens the desk in a browser.
    """
    ctx.ensure_object(dict)["ledger"] = ledger
    if ctx.invoked_subcommand is not None:
        return
    if sys.stdin.isatty() and sys.stdout.isatty():
        desk = group.get_command(ctx, "desk")
        assert desk is not None
        ctx.invoke(desk, browser=True)
    else:
        click.echo(ctx.get_help())


group.params += reader_options()
group.context_class = _Context


def main(argv: list[str] | None = None) -> Any:
    """Run a command.

    Exit status: 0 answered, 1 the ledger does not hold, 2 bad input (one line), 3 a fault of the program (one line;
    with SIDEOATS_TRACE set, the traceback that its authors need).
    """
    try:
        status = group.main(args=argv, prog_name="sideoats", standalone_mode=False)
    except SideoatsError as error:
        _fail(str(error))
    except click.exceptions.Abort:
        _fail("stopped before the end; nothing was written by half")
    except click.ClickException as error:
        where = error.ctx.command_path if isinstance(error, click.UsageError) and error.ctx else "sideoats"
        message = error.format_message().rstrip(".")
        _fail(f"{where.removeprefix('sideoats').strip()}: {message}; see `{where} --help`".removeprefix(": "))
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)
    except OSError as error:
        _fail(f"{error.strerror or error}: {error.filename or ''}; check the path and its permissions")
    except Exception as error:
        if os.environ.get("SIDEOATS_TRACE"):
            raise
        _fail(f"a fault of the program, not of your input: {type(error).__name__}: {error}; please report it", status=3)
    gc.freeze()  # the process ends: looking for cycles in all that is left took a tenth of an answer
    sys.exit(status if isinstance(status, int) else 0)


def _fail(message: str, status: int = 2) -> NoReturn:
    click.echo(one_line(f"sideoats: {_in_words(message)}"), err=True)
    sys.exit(status)


def _in_words(message: str) -> str:
    """The line in the language asked for; in English where that is not known, or is what is wrong."""
    try:
        reader = reader_asked(sys.argv[1:])
    except SideoatsError:
        return message
    if reader.language == "en":
        return message
    from sideoats.words.texts import refusal

    return refusal(message, reader)
