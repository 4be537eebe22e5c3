"""The measured hip and its bone field in one file, `hip.npz`, so that re-planning is quick.

No pickle: arrays by name, and one JSON text for the rest. The file carries the digest of the
inputs it was made from and of the code that made it.
"""

from __future__ import annotations

import hashlib
import json
import os
import zipfile
import zlib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

import rimwright
from rimwright.anatomy import HipGeometry, ScanSource
from rimwright.casework.hip_arrays import put_together, take_apart
from rimwright.casework.scan_facts import metal_of, source_of, take_scan_apart
from rimwright.casework.upgrades import shown
from rimwright.errors import FileRefusal

if TYPE_CHECKING:
    from rimwright.fixation import MeshBoneField
    from rimwright.morphology.scan import MetalPiece

STORE_VERSION = 1
STORE_SCHEMA = f"rimwright.hip-store/{STORE_VERSION}"
MAX_STORE_BYTES = 1_000_000_000
"""A measured hip of a million triangles is a tenth of this; more is not one of ours."""

_FIELD = "field."
_META = "meta"
_CODE_FOLDERS = ("anatomy", "fixation", "imaging", "morphology", "units")
"""Packages whose change may change a stored hip or field."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StoredHip:
    """
    A measured hip, ready for planning.

    Parameters
    ----------
    hip
        As measured.
    field
        The bone field; None where there is no hip bone with a rim, or it was not kept.
    input_digest
        Of bones or scan, side, landmarks and how they were read, hex; '' where unknown.
    made_by
        Digest of the code that made it, hex.
    metal
        Pieces of metal near the hip, where it was measured in a scan.
    source
        The scan it was measured in; None from surfaces.
    """

    hip: HipGeometry
    field: MeshBoneField | None = None
    input_digest: str = ""
    made_by: str = ""
    metal: tuple[MetalPiece, ...] = ()
    source: ScanSource | None = None


@cache
def code_digest() -> str:
    """The sha256 of the source of every package that makes a stored hip, hex."""
    root = Path(rimwright.__file__).parent
    digest = hashlib.sha256(rimwright.__version__.encode())
    for folder in _CODE_FOLDERS:
        for path in sorted((root / folder).rglob("*.py")):
            digest.update(path.relative_to(root).as_posix().encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()


def save_hip(stored: StoredHip, path: Path) -> None:
    """
    Write a measured hip and its field.

    Parameters
    ----------
    stored
        What to keep; the field may be None. `made_by` is written anew: today's code.
    path
        File to write; it is replaced only once the new one is whole.

    Raises
    ------
    FileRefusal
        It cannot be written; nothing is left behind.
    """
    plain, arrays = take_apart(stored.hip)
    packed: dict[str, Any] = dict(arrays)
    if stored.field is not None:
        packed.update({_FIELD + name: array for name, array in stored.field.to_arrays().items()})
    meta = {
        "schema": STORE_SCHEMA,
        "input_digest": stored.input_digest,
        "made_by": code_digest(),
        "hip": plain,
        **take_scan_apart(stored.source, stored.metal),
    }
    packed[_META] = np.frombuffer(json.dumps(meta).encode("utf-8"), dtype=np.uint8)
    path = Path(path)
    partial = path.with_name(f".{path.name}.partial-{os.getpid()}")
    try:
        with partial.open("wb") as file:
            np.savez(file, **packed)
            file.flush()
            os.fsync(file.fileno())
        partial.replace(path)
    except OSError as error:
        raise FileRefusal(
            f"cannot be written ({error.strerror or type(error).__name__})",
            str(path),
            "Choose a folder that can be written and has room",
        ) from None
    finally:
        partial.unlink(missing_ok=True)


def load_hip(path: Path) -> StoredHip:
    """
    Read a hip that `save_hip` wrote.

    Parameters
    ----------
    path
        An `.npz` of this program.

    Returns
    -------
    StoredHip
        Hip and field; `made_by` tells whether today's code made it.

    Raises
    ------
    FileRefusal
        Missing, damaged, of another program, or of a newer version of this one.
    """
    path = Path(path)
    where = path.name or str(path)
    again = "Measure the hip again: run the plan without it"
    if not path.is_file():
        raise FileRefusal("no such file", str(path), again)
    try:
        _check_size(path, where=where, again=again)
        with np.load(path, allow_pickle=False) as store:
            meta = _meta_of(store, where=where, again=again)
            arrays = {name: store[name] for name in store.files if name != _META}
        hip = put_together(meta["hip"], arrays)
        return StoredHip(
            hip=hip,
            field=_field_of(arrays),
            input_digest=str(meta["input_digest"]),
            made_by=str(meta["made_by"]),
            metal=metal_of(meta),
            source=source_of(meta),
        )
    except FileRefusal:
        raise
    except (
        OSError,
        EOFError,
        KeyError,
        IndexError,
        NotImplementedError,
        OverflowError,
        RecursionError,
        RuntimeError,
        TypeError,
        ValueError,
        AttributeError,
        zipfile.BadZipFile,
        zlib.error,
    ) as error:
        raise FileRefusal(
            f"not a whole hip file of this program ({shown(str(error)).strip(chr(34))})",
            where,
            again,
        ) from None


def _check_size(path: Path, *, where: str, again: str) -> None:
    """Refuse an archive that unpacks to more than a hip can be."""
    with zipfile.ZipFile(path) as archive:
        if sum(entry.file_size for entry in archive.infolist()) > MAX_STORE_BYTES:
            raise FileRefusal("too large for a measured hip", where, again)


def _meta_of(store: Any, *, where: str, again: str) -> dict[str, Any]:
    """The JSON text of a store, its schema checked before anything else is believed."""
    if _META not in store.files:
        raise FileRefusal("made by another program", where, again)
    meta = json.loads(bytes(store[_META]).decode("utf-8"))
    schema = meta.get("schema") if isinstance(meta, dict) else None
    name, _, number = str(schema).partition("/")
    if name != STORE_SCHEMA.partition("/")[0] or not number.isdigit():
        raise FileRefusal(
            f'of another kind (got {shown(schema)}, need "{STORE_SCHEMA}")', where, again
        )
    if int(number) > STORE_VERSION:
        raise FileRefusal(
            f'of a newer version (got {shown(schema)}, need "{STORE_SCHEMA}")',
            where,
            "Open it with a newer rimwright, or measure the hip again",
        )
    loaded: dict[str, Any] = meta
    return loaded


def _field_of(arrays: dict[str, Any]) -> MeshBoneField | None:
    """The bone field, if it was kept."""
    kept = {
        name.removeprefix(_FIELD): array
        for name, array in arrays.items()
        if name.startswith(_FIELD)
    }
    if not kept:
        return None
    from rimwright.fixation import MeshBoneField

    return MeshBoneField.from_arrays(kept)
