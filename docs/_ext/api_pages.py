"""One page of the public face of each layer that exists, so that no page outlives its layer."""

from __future__ import annotations

import importlib
import pkgutil
from pathlib import Path

from pages import remove_others, write_page
from sphinx.application import Sphinx

import rimwright

# From the top layer down, as the arrows point.
ORDER = (
    *("cli", "casework", "report", "treatment", "fixation", "morphology", "imaging", "phantom"),
    *("evidence", "anatomy", "units", "errors"),
)


def layers() -> list[str]:
    """Packages and modules right under rimwright, in the order of the layers."""
    found = {module.name for module in pkgutil.iter_modules(rimwright.__path__)} - {"__main__"}
    known = [name for name in ORDER if name in found]
    return known + sorted(found - set(known))


def layer_page(name: str) -> list[str]:
    """The page of one layer: what it is, then everything it offers."""
    module = importlib.import_module(f"rimwright.{name}")
    options = ["   :members:", "   :no-index:"] if name == "cli" else ["   :members:"]
    return [
        f"# {name}",
        "",
        "```{eval-rst}",
        f".. automodule:: {module.__name__}",
        *options,
        "```",
    ]


def write_pages(app: Sphinx) -> None:
    """Write the folder before Sphinx reads it."""
    folder = Path(app.srcdir) / "reference" / "api"
    names = layers()
    for name in names:
        write_page(folder / f"{name}.md", layer_page(name))
    index = ["# Layers and their public faces", "", "From the top down; see the"]
    index += ["[architecture](../../architecture.md) for what may import what.", ""]
    index += ["```{toctree}", ":maxdepth: 1", "", *names, "```"]
    write_page(folder / "index.md", index)
    remove_others(folder, ["index.md", *(f"{name}.md" for name in names)])


def setup(app: Sphinx) -> dict[str, object]:
    """Write the pages when a build begins."""
    app.connect("builder-inited", write_pages)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
