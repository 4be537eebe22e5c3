"""JSON Schemas of the documents: the case file, the measured hip, the plan, the checked scan."""

from __future__ import annotations

import json
from importlib import resources
from typing import Any, Literal

from rimwright.casework.upgrades import HIP_FAMILY, PLAN_FAMILY, SCAN_FAMILY

DocumentKind = Literal["case", "hip", "plan", "scan"]

_DIALECT = "https://json-schema.org/draft/2020-12/schema"


def document_schema(kind: DocumentKind) -> dict[str, Any]:
    """
    The JSON Schema of the newest version of a document.

    Parameters
    ----------
    kind
        'case', 'hip', 'plan' or 'scan'.

    Returns
    -------
    dict
        JSON Schema, draft 2020-12. That of the case is made from the models that read it; it
        cannot say that sectors must not overlap, which reading the case does.
    """
    if kind == "case":
        from rimwright.casework.case_model import CASE_SCHEMA, CaseModel

        schema = _untitled(CaseModel.model_json_schema(by_alias=True))
        return {"$schema": _DIALECT, "$id": CASE_SCHEMA, **schema, "title": CASE_SCHEMA}
    family = {"hip": HIP_FAMILY, "plan": PLAN_FAMILY, "scan": SCAN_FAMILY}[kind]
    folder = resources.files("rimwright.casework") / "schemas"
    text = (folder / f"{kind}-{family.newest}.json").read_text(encoding="utf-8")
    loaded: dict[str, Any] = json.loads(text)
    return loaded


def _untitled(node: Any) -> Any:
    """The schema without the titles pydantic makes up from the names of fields."""
    if isinstance(node, dict):
        return {
            key: _untitled(value)
            for key, value in node.items()
            if not (key == "title" and isinstance(value, str))
        }
    return [_untitled(item) for item in node] if isinstance(node, list) else node
