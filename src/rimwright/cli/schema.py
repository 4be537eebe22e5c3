"""`rimwright schema`: the JSON Schema of a document."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

import typer

from rimwright.cli.screen import print_json


class Kind(StrEnum):
    """Documents with a schema."""

    CASE = "case"
    HIP = "hip"
    PLAN = "plan"
    SCAN = "scan"


def schema(
    kind: Annotated[
        Kind,
        typer.Argument(
            help="case: what you write; hip: what `measure` prints; plan: plan.json; scan: what "
            "`check image` prints."
        ),
    ],
) -> None:
    """Print the JSON Schema of a document, with every key it may or will hold."""
    from rimwright.casework.schemas import document_schema

    print_json(document_schema(kind.value))
