"""Reads a case file, TOML or JSON: one function from a path to a Case, or one line of refusal."""

from __future__ import annotations

import json
import os
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from rimwright.casework.case import Case
from rimwright.casework.case_build import build_case
from rimwright.casework.case_model import CaseModel
from rimwright.casework.case_words import refuse_first
from rimwright.casework.upgrades import CASE_FAMILY, shown
from rimwright.errors import FileRefusal

MAX_CASE_BYTES = 2_000_000
"""A case is a page of text; anything larger is another kind of file."""


def read_case(path: Path) -> Case:
    """
    Read and validate a case file.

    Parameters
    ----------
    path
        `case.toml` or `case.json`; the ending says which.

    Returns
    -------
    Case
        Validated, upgraded to the newest version, paths resolved against its folder.

    Raises
    ------
    FileRefusal
        Missing, too large, not text, not TOML or JSON.
    CaseRefusal
        Something it says is unknown, impossible or out of range.
    """
    path = Path(path)
    document = read_document(path)
    return case_from_document(document, folder=path.absolute().parent, where=path.name)


def case_from_document(document: Mapping[str, Any], *, folder: Path, where: str = "case") -> Case:
    """
    Validate a case that is already plain data.

    Parameters
    ----------
    document
        Dicts, lists, text and numbers as TOML or JSON gives them.
    folder
        What its relative paths are relative to.
    where
        Its name, for messages.

    Returns
    -------
    Case
        As `read_case`.

    Raises
    ------
    CaseRefusal
        As `read_case`.
    """
    upgraded = CASE_FAMILY.upgrade(document, where=where)
    try:
        model = CaseModel.model_validate(upgraded)
    except ValidationError as error:
        raise refuse_first(error, CaseModel, where=where) from None
    plain = model.model_dump(mode="json", by_alias=True, exclude_none=True)
    return build_case(model, document=plain, folder=folder, where=where)


def read_document(path: Path) -> dict[str, Any]:
    """
    Parse a TOML or JSON file into plain data.

    Parameters
    ----------
    path
        The ending says which: `.toml` or `.json`.

    Returns
    -------
    dict
        The top table.

    Raises
    ------
    FileRefusal
        Missing, too large, not text, not TOML or JSON, or no table on top.
    """
    where = path.name or str(path)
    kind = path.suffix.lower()
    if kind not in (".toml", ".json") and not os.path.isdir(path):  # noqa: PTH112 - never raises
        raise FileRefusal(
            f"an ending this reader does not know (got {shown(path.suffix)}, need .toml or .json)",
            where,
            "Give the case file",
        )
    text = text_of(path, where=where)
    try:
        parsed = tomllib.loads(text) if kind == ".toml" else _json(text, where=where)
    except (tomllib.TOMLDecodeError, json.JSONDecodeError) as error:
        raise FileRefusal(
            f"not {kind[1:].upper()} ({shown(str(error)).strip(chr(34))})",
            where,
            "Correct the line named",
        ) from None
    except RecursionError:
        raise FileRefusal("nested too deeply", where, "A case needs three levels") from None
    except FileRefusal:
        raise
    except ValueError as error:  # a number of thousands of digits, an impossible date
        raise FileRefusal(
            f"holds a value that cannot be read ({shown(str(error)).strip(chr(34))})",
            where,
            "Correct the value",
        ) from None
    if not isinstance(parsed, dict):
        raise FileRefusal(
            f"not a case (got {shown(parsed)} on top, need a table)", where, "Begin with { or keys"
        )
    return parsed


def text_of(path: Path, *, where: str) -> str:
    """The text of a file, refused where it is no ordinary small text file."""
    try:
        if not path.exists():
            raise FileRefusal("no such file", str(path), "Check the path")
        if path.is_dir():
            raise FileRefusal("a folder, not a file", str(path), "Give the case file in it")
        if not path.is_file():
            raise FileRefusal("a device, not a file", str(path), "Give the case file itself")
        size = path.stat().st_size
        if size > MAX_CASE_BYTES:
            raise FileRefusal(
                f"too large for a case (got {size} bytes, need {MAX_CASE_BYTES} at most)",
                where,
                "Give the case file, not the bones",
            )
        content = path.read_bytes()
    except OSError as error:
        raise FileRefusal(
            f"cannot be read ({error.strerror or 'no reason given'})",
            str(path),
            "Check the path and its permissions",
        ) from None
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise FileRefusal("not text in UTF-8", where, "Save it as UTF-8") from None


def _json(text: str, *, where: str) -> Any:
    """JSON, with a key given twice refused (the last one would win unseen)."""

    def no_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        seen: dict[str, Any] = {}
        for key, value in pairs:
            if key in seen:
                raise FileRefusal(f"the key {shown(key)} stands twice", where, "Keep one of them")
            seen[key] = value
        return seen

    return json.loads(text, object_pairs_hook=no_doubles)
