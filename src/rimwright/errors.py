"""Refusals: what the tool says when it cannot go on.

Refusal                 (ValueError)  wrong, where, remedy: one line
├── FileRefusal         a file is missing, unreadable, truncated or of an unknown kind
├── BoneRefusal         a body is not the bone, side, size or orientation claimed
├── CaseRefusal         a case file, technique file or setting says something impossible
└── LayoutRefusal       nothing that was asked for can be computed from what was given

Doubt is not an error: a doubtful number is a `Measurement` with status caution or refused.
"""

from __future__ import annotations


class Refusal(ValueError):
    """
    Input that cannot be used, said in one line.

    Parameters
    ----------
    wrong
        What is wrong, with what was got and what is needed.
    where
        The file, field or body, as the reader knows it.
    remedy
        What to do about it, a full sentence.
    """

    def __init__(self, wrong: str, where: str, remedy: str) -> None:
        super().__init__(wrong, where, remedy)  # positional: survives pickling between workers
        self.wrong = wrong
        self.where = where
        self.remedy = remedy

    def __str__(self) -> str:
        line = f"{self.where}: {self.wrong.rstrip('.')}. {self.remedy.rstrip('.')}."
        return " ".join(line.split())


class FileRefusal(Refusal):
    """A file is missing, unreadable, truncated or of an unknown kind."""


class BoneRefusal(Refusal):
    """A body is not the bone, side, size or orientation claimed."""


class CaseRefusal(Refusal):
    """A case file, technique file or setting says something impossible."""


class LayoutRefusal(Refusal):
    """Nothing that was asked for can be computed from what was given."""
