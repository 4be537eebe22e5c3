"""The page of the command, written from the command itself."""

from __future__ import annotations

import importlib
import importlib.util
from pathlib import Path
from typing import Any

from pages import cell, table, write_page
from sphinx.application import Sphinx

TOP = """# The command `rimwright`

Written from the command itself. Exit 0: done. Exit 1: refused, with one line on stderr that says
what was wrong, where, and what to do. Exit 2: wrong usage. With `--json` a single JSON document
stands on stdout; progress and warnings go to stderr.
"""


def root_command() -> Any:
    """The command as click sees it; None while there is no command."""
    spec = importlib.util.find_spec("rimwright.cli")
    if spec is None or spec.origin is None:
        return None
    from typer.main import get_command

    return get_command(importlib.import_module("rimwright.cli.app").app)


def parameter_row(parameter: Any) -> tuple[str, str, str]:
    """Name, need and meaning of one parameter."""
    if parameter.param_type_name == "argument":
        name = f"`{parameter.name.upper()}`"
    else:
        name = ", ".join(f"`{option}`" for option in (*parameter.opts, *parameter.secondary_opts))
    need = "required" if parameter.required else "optional"
    return name, need, cell(getattr(parameter, "help", None) or "")


def command_lines(name: str, command: Any) -> list[str]:
    """Section of one command."""
    lines = [f"## {name}", "", (command.help or "").strip(), ""]
    rows = [parameter_row(p) for p in command.params if not getattr(p, "hidden", False)]
    return [*lines, *(table(("parameter", "need", "meaning"), rows) if rows else []), ""]


def write_command_page(app: Sphinx) -> None:
    """Write the page before Sphinx reads it."""
    lines = [TOP]
    root = root_command()
    if root is not None:
        for name, command in getattr(root, "commands", {}).items():
            if not command.hidden:
                lines += command_lines(f"rimwright {name}", command)
    write_page(Path(app.srcdir) / "reference" / "command.md", lines)


def setup(app: Sphinx) -> dict[str, object]:
    """Write the page when a build begins."""
    app.connect("builder-inited", write_command_page)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
