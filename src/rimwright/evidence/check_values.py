"""Values that tests hold the program against: published numbers and exact geometry."""

from __future__ import annotations

import tomllib
from importlib import resources
from typing import Any


def check_values() -> dict[str, dict[str, Any]]:
    """
    Read the check values by name.

    Returns
    -------
    dict
        Name to its entries; 'kind' says published, geometry or sanity, 'evidence' names rows.
    """
    text = resources.files("rimwright.evidence").joinpath("checks.toml").read_text("utf-8")
    document = tomllib.loads(text)
    document.pop("schema")
    return document
