"""Tables of every key of a document, written from the schema the program itself prints."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pages import cell, table, write_page
from sphinx.application import Sphinx

from rimwright.casework import document_schema

DEEP = ("clinic",)
"""Tables whose lists are long enough to be written as tables of their own."""
TOP = """# Every key of a case file

Written from the schema that `rimwright schema case` prints. Only `schema`, `id` and `side` are
required; what is left out is unknown. An unknown key is refused with the nearest known one. Bounds
catch slips of the pen and carry no clinical meaning.
"""


def resolved(node: dict[str, Any], definitions: dict[str, Any]) -> dict[str, Any]:
    """The node itself, without 'or null' and with a reference followed."""
    if "anyOf" in node:
        choices = [choice for choice in node["anyOf"] if choice.get("type") != "null"]
        rest = {key: value for key, value in node.items() if key != "anyOf"}
        return resolved({**choices[0], **rest}, definitions)
    if "$ref" in node:
        name = node["$ref"].rsplit("/", 1)[-1]
        rest = {key: value for key, value in node.items() if key != "$ref"}
        return {**definitions[name], **rest}
    return node


def kind_of(node: dict[str, Any]) -> str:
    """What may stand there, in words."""
    if "const" in node:
        return f'"{node["const"]}"'
    if "enum" in node:
        return " or ".join(f'"{word}"' for word in node["enum"])
    if node.get("format") == "date":
        return "date, as 2026-03-02"
    plain = {
        "integer": "whole number",
        "number": "number",
        "string": "text",
        "boolean": "true or false",
    }
    kind = plain.get(str(node.get("type")), str(node.get("type", "")))
    bounds = [
        f"{words} {node[key]:g}"
        for key, words in (
            ("minimum", "from"),
            ("exclusiveMinimum", "above"),
            ("maximum", "to"),
            ("exclusiveMaximum", "below"),
        )
        if key in node
    ]
    return " ".join([kind, *bounds])


def key_tables(schema: dict[str, Any]) -> list[str]:
    """One table for the top of the file, one for each table in it."""
    definitions = schema.get("$defs", {})
    top: list[tuple[str, str, str]] = []
    parts: list[str] = []
    for name, raw in schema["properties"].items():
        node = resolved(raw, definitions)
        if node.get("type") == "array":
            inner = resolved(node["items"], definitions)
            parts += part_table(name, inner, definitions, is_list=True)
        elif "properties" in node:
            parts += part_table(name, node, definitions)
        else:
            top.append(key_row(name, node, schema.get("required", ())))
    return ["## At the top", "", *table(("key", "value", "note"), top), "", *parts]


def part_table(
    path: str, node: dict[str, Any], definitions: dict[str, Any], *, is_list: bool = False
) -> list[str]:
    """One table of the file with its keys, then the tables of records and facts in it."""
    required = node.get("required", ())
    rows = []
    inside: list[str] = []
    for name, raw in node["properties"].items():
        entry = resolved(raw, definitions)
        if entry.get("type") == "array":
            inner = resolved(entry["items"], definitions)
            if "properties" in inner and path in DEEP:
                inside += part_table(f"{path}.{name}", inner, definitions, is_list=True)
                continue
            if "properties" in inner:
                keys = ", ".join(f"`{key}`" for key in inner["properties"])
                rows.append((f"`{name}`", "list of tables", keys))
                continue
            rows.append((f"`{name}`", "list of three numbers", cell(entry.get("description", ""))))
            continue
        if "properties" in entry:
            inside += part_table(f"{path}.{name}", entry, definitions)
            continue
        rows.append(key_row(name, entry, required))
    text = (node.get("description") or "").replace("`", "").strip()
    if text.startswith("The [") and text.endswith("] table."):  # says no more than the heading
        text = ""
    title = f"`[[{path}]]`" if is_list else f"`[{path}]`"
    keys_table = [*table(("key", "value", "note"), rows), ""] if rows else []
    return [f"## {title}", "", text, "", *keys_table, *inside]


def key_row(name: str, node: dict[str, Any], required: Any) -> tuple[str, str, str]:
    """One key."""
    note = cell(node.get("description", "")) if "enum" not in node else ""
    if name in required:
        note = f"required. {note}".strip()
    return f"`{name}`", cell(kind_of(node)), note


def write_document_page(app: Sphinx) -> None:
    """Write the page before Sphinx reads it."""
    lines = [TOP, *key_tables(document_schema("case"))]
    write_page(Path(app.srcdir) / "reference" / "case-keys.md", lines)


def setup(app: Sphinx) -> dict[str, object]:
    """Write the page when a build begins."""
    app.connect("builder-inited", write_document_page)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
