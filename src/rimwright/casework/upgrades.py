"""Versions of the stored documents, and the pure steps from each to the next."""

from __future__ import annotations

import copy
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from rimwright.errors import CaseRefusal

Document = dict[str, Any]
Step = Callable[[Document], Document]


@dataclass(frozen=True, slots=True, kw_only=True)
class DocumentFamily:
    """
    One kind of document, its newest version, and how older ones are brought up to it.

    Parameters
    ----------
    name
        Name before the slash of the schema, e.g. 'rimwright.case'.
    newest
        Version this program writes, from 1.
    steps
        From version n, the pure function that makes version n + 1; one for each n < newest.
    """

    name: str
    newest: int
    steps: Mapping[int, Step] = field(default_factory=dict)

    @property
    def schema(self) -> str:
        """The `schema` value of the newest version."""
        return f"{self.name}/{self.newest}"

    def version_of(self, document: Mapping[str, Any], *, where: str) -> int:
        """
        Read and check the version a document claims.

        Parameters
        ----------
        document
            As parsed.
        where
            Its name, for the refusal.

        Returns
        -------
        int
            From 1 to `newest`.

        Raises
        ------
        CaseRefusal
            No schema, another kind of document, or a version newer than this program knows.
        """
        claimed = document.get("schema")
        if claimed is None:
            raise CaseRefusal(
                f'missing (need "{self.schema}")',
                f"{where}, schema",
                f'Add the line schema = "{self.schema}"',
            )
        name, slash, number = claimed.partition("/") if isinstance(claimed, str) else ("", "", "")
        if name != self.name or not slash:
            raise CaseRefusal(
                f'not a document of this kind (got {shown(claimed)}, need "{self.schema}")',
                f"{where}, schema",
                f'Write schema = "{self.schema}"',
            )
        if not (number.isascii() and number.isdigit() and len(number) < 5 and int(number) > 0):
            raise CaseRefusal(
                f'not a version (got {shown(claimed)}, need "{self.schema}")',
                f"{where}, schema",
                f'Write schema = "{self.schema}"',
            )
        version = int(number)
        if version > self.newest:
            raise CaseRefusal(
                f"a newer version than this program knows (got {shown(claimed)}, "
                f'need "{self.schema}" or older)',
                f"{where}, schema",
                "Open it with a newer rimwright",
            )
        return version

    def upgrade(self, document: Mapping[str, Any], *, where: str) -> Document:
        """
        Bring a document to the newest version; the one given stays as it is.

        Parameters
        ----------
        document, where
            As for `version_of`.

        Returns
        -------
        dict
            A copy, at the newest version.

        Raises
        ------
        CaseRefusal
            As for `version_of`.
        """
        upgraded = copy.deepcopy(dict(document))
        for version in range(self.version_of(document, where=where), self.newest):
            upgraded = self.steps[version](upgraded)
            upgraded["schema"] = f"{self.name}/{version + 1}"
        return upgraded


def shown(value: object, *, limit: int = 60) -> str:
    """A foreign value as it may stand in a message: one line, printable, short."""
    if isinstance(value, str):
        text = f'"{value}"'
    elif isinstance(value, bool):
        text = str(value).lower()
    elif isinstance(value, Mapping):
        text = "a table"
    elif isinstance(value, (list, tuple)):
        text = f"a list of {len(value)}"
    elif isinstance(value, int) and abs(value) > 10**15:
        text = "a number of too many digits"
    else:
        text = str(value)
    text = "".join(char if char.isprintable() else "?" for char in text)
    return text if len(text) <= limit else text[: limit - 1] + "…"


CASE_FAMILY = DocumentFamily(name="rimwright.case", newest=1)
HIP_FAMILY = DocumentFamily(name="rimwright.hip", newest=1)
PLAN_FAMILY = DocumentFamily(name="rimwright.plan", newest=1)
SCAN_FAMILY = DocumentFamily(name="rimwright.scan", newest=1)
READINGS_FAMILY = DocumentFamily(name="rimwright.readings", newest=1)
TECHNIQUE_FAMILY = DocumentFamily(name="rimwright.technique", newest=1)
