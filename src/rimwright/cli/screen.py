"""What the command shows: one-line messages and progress on stderr, results on stdout."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from rimwright.cli.stopping import stop_if_asked

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from rimwright.anatomy import Progress


def say(line: str) -> None:
    """One printable line on stderr."""
    text = "".join(char if char.isprintable() else "?" for char in " ".join(line.split()))
    sys.stderr.write(text + "\n")


def warn(lines: Sequence[str]) -> None:
    """Warnings on stderr, one a line."""
    for line in lines:
        say(f"caution: {line}")


def print_json(document: Mapping[str, Any] | Sequence[Any]) -> None:
    """One JSON document on stdout and nothing else."""
    sys.stdout.write(json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n")


def output() -> Console:
    """The console results are printed on; text from files is never taken for markup."""
    from rich.console import Console

    return Console(markup=False, highlight=False, emoji=False, soft_wrap=False)


def plain_table(*headings: str) -> Table:
    """A quiet table; the last column takes what room is left."""
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, header_style="bold")
    for heading in headings:
        is_last = heading == headings[-1]
        table.add_column(
            heading, overflow="fold", ratio=1 if is_last else None, no_wrap=heading == headings[0]
        )
    return table


@contextmanager
def progress_bar() -> Iterator[Progress]:
    """
    Show progress while work is done.

    Yields
    ------
    Progress
        A bar on stderr where that is a terminal; nothing otherwise. Ends the command if a
        signal was heard.
    """
    if not sys.stderr.isatty():
        yield lambda *_: stop_if_asked()
        return
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bar

    console = Console(stderr=True, markup=False, highlight=False)
    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    with Bar(*columns, console=console, transient=True) as bar:
        task = bar.add_task("starting", total=1.0)

        def tell(fraction: float, stage: str) -> None:
            stop_if_asked()
            bar.update(task, completed=fraction, description=stage)

        yield tell
