"""Evidence pages, as the package writes them from the TOML that the code reads."""

from __future__ import annotations

from pathlib import Path

from pages import remove_others, write_page
from sphinx.application import Sphinx

from rimwright.evidence import evidence_pages


def write_pages(app: Sphinx) -> None:
    """Write the folder before Sphinx reads it."""
    folder = Path(app.srcdir) / "reference" / "evidence"
    pages = evidence_pages()
    for name, text in pages.items():
        write_page(folder / name, text.splitlines())
    remove_others(folder, pages)


def setup(app: Sphinx) -> dict[str, object]:
    """Write the pages when a build begins."""
    app.connect("builder-inited", write_pages)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
