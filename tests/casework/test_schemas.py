"""The exported JSON Schemas accept what the reader accepts and refuse what it refuses."""

from __future__ import annotations

import tomllib
from pathlib import Path

import jsonschema
import pytest

from rimwright.anatomy import MEASUREMENT_KEYS
from rimwright.casework.schemas import document_schema

FROZEN = Path(__file__).parent / "frozen" / "case-1.toml"


@pytest.mark.parametrize("kind", ["case", "hip", "plan", "scan"])
def test_each_is_a_sound_schema(kind):
    """Each is itself valid JSON Schema, draft 2020-12, and carries its version as its name."""
    schema = document_schema(kind)
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["$id"] == f"rimwright.{kind}/1"


def test_case_schema_on_the_frozen_case():
    """The frozen case passes; an unknown key, a wrong word and an hour of 13 do not."""
    validator = jsonschema.Draft202012Validator(document_schema("case"))
    document = tomllib.loads(FROZEN.read_text(encoding="utf-8"))
    validator.validate(document)
    for change in ({"sides": "left"}, {"side": "L"}, {"labrum": [{"from_hour": 13, "to_hour": 1}]}):
        assert not validator.is_valid({**document, **change})


def test_hip_schema_names_every_measurement():
    """The schema of the hip requires the measurements of the vocabulary, no more and no fewer."""
    measurements = document_schema("hip")["properties"]["measurements"]
    assert tuple(measurements["required"]) == MEASUREMENT_KEYS
