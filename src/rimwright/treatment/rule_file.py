"""The rules in force: those shipped with the program, and a clinic's own file over them."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib import resources
from typing import Any

from rimwright.errors import CaseRefusal, FileRefusal
from rimwright.evidence import EvidenceTable, load_evidence
from rimwright.treatment.rule_checks import RuleChecks
from rimwright.treatment.rule_reader import RuleReader
from rimwright.treatment.rules import RuleSet

RULES_SCHEMA = "rimwright.rules/1"


@cache
def shipped_rules() -> RuleSet:
    """The rules shipped with the program, checked against the shipped evidence; cached."""
    text = resources.files("rimwright.treatment").joinpath("rules.toml").read_text("utf-8")
    return parse_rules(text, table=load_evidence(), where="rules.toml")


def parse_rules(text: str, *, table: EvidenceTable, where: str) -> RuleSet:
    """
    Read a whole set of rules from TOML and check every name in it.

    Parameters
    ----------
    text
        TOML.
    table
        The evidence that rules may name.
    where
        Name of the file, for refusals.

    Returns
    -------
    RuleSet
        In the order of the file.

    Raises
    ------
    FileRefusal
        The text is not TOML.
    CaseRefusal
        A key, a word, a setting or an evidence row is unknown, or a rule supports something on
        memory or habit alone.
    """
    document = toml_document(text, schema=RULES_SCHEMA, where=where)
    return RuleReader(RuleChecks(table=table, file=where)).rule_set(document)


def toml_document(text: str, *, schema: str, where: str) -> Mapping[str, Any]:
    """
    TOML of the schema that is read here.

    Parameters
    ----------
    text
        TOML.
    schema
        The one version that is read.
    where
        Name of the file, for refusals.

    Returns
    -------
    Mapping
        The document as plain values.

    Raises
    ------
    FileRefusal
        The text is not TOML.
    CaseRefusal
        It is of another schema.
    """
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise FileRefusal(f"not TOML ({error})", where, "Correct the line that is named.") from None
    if document.get("schema") != schema:
        raise CaseRefusal(
            f"not a version this program reads (got {document.get('schema')!r}, need {schema!r})",
            f"{where}, schema",
            f"Write schema = {schema!r}.",
        )
    return document
