"""The store of made scans, one for all workers."""

from __future__ import annotations

import pytest

from morphology.scan.kept import Kept, session_folder


@pytest.fixture(scope="session")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Kept:
    """Made scans and the hips measured in them; made at the first call."""
    return Kept(session_folder(tmp_path_factory))
