"""The command's entry: which jobs it lists, and what it says when it cannot go on.

Nothing here imports a computing library: each job imports what it needs when it runs.
"""

from __future__ import annotations

import os
import sys
from typing import Annotated, Any, NoReturn

import typer

import rimwright
from rimwright.cli.check import check
from rimwright.cli.demo import demo
from rimwright.cli.measure import measure
from rimwright.cli.plan import plan
from rimwright.cli.schema import schema
from rimwright.cli.screen import say
from rimwright.cli.stopping import stop_if_asked, watch_signals
from rimwright.errors import Refusal

EXIT_REFUSED = 1
TRACEBACK_SWITCH = "RIMWRIGHT_TRACEBACK"
"""Set to 1, a fault of the program shows where it happened."""

_EPILOG = (
    "Exit 0: done. Exit 1: refused, with the reason in one line on stderr. Exit 2: wrong usage. "
    "Aid for planning and discussion by a licensed surgeon. Not a medical device, not validated "
    "for clinical decisions. Check every measurement on the images. Local regulations, the "
    "implant maker's instructions and the surgeon's judgement come first."
)

app = typer.Typer(
    name="rimwright",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode="rich",
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog=_EPILOG,
    help=(
        "Measure a hip on its bones, find where the rim holds anchors, and plan the labrum.\n\n"
        "Start with `rimwright demo`: it makes an invented hip, plans it, and says where the "
        "report is. Then write a case file (`rimwright schema case` lists every key), try it with "
        "`rimwright check case FILE`, and run `rimwright plan FILE --out DIR`."
    ),
)
for _job in (demo, measure, plan, check, schema):
    app.command(no_args_is_help=_job in (measure, plan, check, schema))(_job)


def _show_version(wanted: bool) -> None:
    """Print the version and stop."""
    if wanted:
        sys.stdout.write(f"rimwright {rimwright.__version__}\n")
        raise typer.Exit


@app.callback()
def root(
    version: Annotated[
        bool,
        typer.Option("--version", help="Print the version.", callback=_show_version, is_eager=True),
    ] = False,
) -> None:
    """Options of the command itself."""


def main() -> NoReturn:
    """Run the command; bad input ends in one line and an exit code, never in a traceback."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure: Any = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(encoding="utf-8", errors="backslashreplace")
    watch_signals()
    try:
        app(prog_name="rimwright")
    except Exception as error:  # noqa: BLE001 - the last line of defence against a traceback
        stop_if_asked()  # compiled code turns the exit of a signal into an error of its own
        _say_why(error)
    raise SystemExit(EXIT_REFUSED)


def _say_why(error: Exception) -> None:
    """One line on what ended the command; a fault of the program shows where, if asked."""
    if isinstance(error, Refusal):
        say(str(error))
    elif isinstance(error, MemoryError):
        say("not enough memory for this job. Close other programs, or reduce the surfaces.")
    elif isinstance(error, OSError):
        _reraise_if_asked()
        place = f"{error.filename}: " if error.filename else ""
        say(f"{place}{error.strerror or type(error).__name__}. Check the path and the disk.")
    else:
        _reraise_if_asked()
        say(
            f"a fault of this program, not of your file ({type(error).__name__}: {error}). "
            f"Run it again with {TRACEBACK_SWITCH}=1 and report what it prints."
        )


def _reraise_if_asked() -> None:
    """Let the traceback through where a developer asked for it."""
    if os.environ.get(TRACEBACK_SWITCH) == "1":
        raise
