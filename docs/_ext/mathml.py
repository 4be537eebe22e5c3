"""Equations as MathML, worked out at build time: browsers draw it, no script is loaded."""

from __future__ import annotations

from typing import Any

from docutils import nodes
from latex2mathml.converter import convert
from sphinx.application import Sphinx
from sphinx.util.math import get_node_equation_number


def draw_inline(visitor: Any, node: nodes.math) -> None:
    """Put an equation into the line."""
    visitor.body.append(convert(node.astext(), display="inline"))
    raise nodes.SkipNode


def draw_block(visitor: Any, node: nodes.math_block) -> None:
    """Put an equation on its own line, with its number where it has a label."""
    number = ""
    if node.get("number"):
        number = f'<span class="eqno">({get_node_equation_number(visitor, node)})</span>'
    visitor.body.append(visitor.starttag(node, "div", CLASS="math"))
    visitor.body.append(number + convert(node.astext(), display="block") + "</div>\n")
    raise nodes.SkipNode


def setup(app: Sphinx) -> dict[str, object]:
    """Offer the renderer to Sphinx."""
    app.add_html_math_renderer("mathml", (draw_inline, None), (draw_block, None))
    return {"parallel_read_safe": True, "parallel_write_safe": True}
