"""Ends the build when a page would load anything from elsewhere: it must read without a network."""

from __future__ import annotations

import re
from pathlib import Path

from sphinx.application import Sphinx
from sphinx.errors import SphinxError

# What a browser loads by itself. A link that a reader may click (<a href>) is not among them.
LOADS = re.compile(
    r"""<(?:script|img|iframe|source|video|audio|embed|object|link)\b[^>]*?
        \b(?:src|href|data|srcset)\s*=\s*["']?\s*(?:https?:)?//[^"'>\s]+""",
    re.IGNORECASE | re.VERBOSE,
)
STYLE_LOADS = re.compile(r"""(?:@import|url\()\s*["']?(?:https?:)?//[^"')\s]+""", re.IGNORECASE)


def check_pages(app: Sphinx, exception: Exception | None) -> None:
    """Read every page and style sheet that was written."""
    if exception is not None or app.builder.format != "html":
        return
    found = []
    for page in sorted(Path(app.outdir).rglob("*")):
        if page.suffix not in {".html", ".css", ".svg"}:
            continue
        pattern = STYLE_LOADS if page.suffix == ".css" else LOADS
        text = page.read_text(encoding="utf-8")
        found += [f"{page.name}: {hit.group(0)[-80:]}" for hit in pattern.finditer(text)]
    if found:
        raise SphinxError("pages would load from elsewhere:\n" + "\n".join(found))


def setup(app: Sphinx) -> dict[str, object]:
    """Look at the pages once they are written."""
    app.connect("build-finished", check_pages)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
