"""Elements of HTML and SVG: text is escaped by construction, so nothing from a case is markup."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

VOID_ELEMENTS = frozenset({"meta", "link", "br", "hr", "img", "input", "col", "wbr"})


class Markup(str):
    """Text that is markup already; made only by `element` and by constants of this package."""

    __slots__ = ()


Child = str | None | Iterable["Child"]


def element(tag: str, /, *children: Child, **attributes: str | float | bool | None) -> Markup:
    """
    One element with its children.

    Parameters
    ----------
    tag
        Name of the element.
    children
        Plain strings are escaped, `Markup` is not; iterables are flattened; None is left out.
    attributes
        An underscore stands for a hyphen, a trailing one is dropped (`class_`); None and False are
        left out, True is a bare attribute, floats are written with at most two decimals.
    """
    written = "".join(_attribute(name, value) for name, value in attributes.items())
    inner = join(children)
    if tag in VOID_ELEMENTS:
        return Markup(f"<{tag}{written}>")
    return Markup(f"<{tag}{written}>{inner}</{tag}>")


def join(children: Child) -> Markup:
    """Children one after the other, strings escaped."""
    if children is None:
        return Markup("")
    if isinstance(children, Markup):
        return children
    if isinstance(children, str):
        return Markup(escape(children, quote=False))
    return Markup("".join(join(child) for child in children))


def _attribute(name: str, value: str | float | bool | None) -> str:
    """One attribute with its leading space, or nothing."""
    name = name.rstrip("_").replace("_", "-")
    if value is None or value is False:
        return ""
    if value is True:
        return f" {name}"
    return f' {name}="{escape(compact(value) if not isinstance(value, str) else value)}"'


def compact(value: float) -> str:
    """A coordinate with at most two decimals: small files that still read."""
    written = f"{float(value):.2f}".rstrip("0").rstrip(".")
    return "0" if written in ("-0", "") else written
