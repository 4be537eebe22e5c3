"""Slow things made once for all workers of a session: pickles beside its temporary folders."""

from __future__ import annotations

import fcntl
import os
import pickle
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import pytest

T = TypeVar("T")
_here: dict[str, object] = {}


def session_folder(factory: pytest.TempPathFactory) -> Path:
    """The folder that the workers of one session share; a new session has a new one."""
    base = factory.getbasetemp()
    folder = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "made-scans"
    folder.mkdir(exist_ok=True)
    return folder


class Kept:
    """Makes each thing once: the second worker waits for the first and reads what it made."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def get(self, name: str, make: Callable[[], T]) -> T:
        """What `make` made the first time under this name."""
        if name in _here:
            return _here[name]  # type: ignore[return-value]
        path = self.folder / f"{name}.pickle"
        with (self.folder / f"{name}.lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            if path.exists():
                made = pickle.loads(path.read_bytes())
            else:
                made = make()
                path.write_bytes(pickle.dumps(made))
        _here[name] = made
        return made
