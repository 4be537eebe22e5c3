"""What kind of file the bytes are: by content, the suffix only where content has no mark."""

from __future__ import annotations

from enum import StrEnum

from rimwright.errors import FileRefusal


class FileKind(StrEnum):
    """Kinds of surface file that can be read."""

    GLTF = "glTF"
    OBJ = "OBJ"
    PLY = "PLY"
    STL = "STL"
    VRML = "VRML"
    VTK = "legacy VTK"
    VTP = "VTP"


SUFFIXES = {
    ".glb": FileKind.GLTF,
    ".gltf": FileKind.GLTF,
    ".obj": FileKind.OBJ,
    ".ply": FileKind.PLY,
    ".stl": FileKind.STL,
    ".vrml": FileKind.VRML,
    ".vtk": FileKind.VTK,
    ".vtp": FileKind.VTP,
    ".wrl": FileKind.VRML,
}
_MARKS = (
    (b"glTF", FileKind.GLTF),
    (b"ply\n", FileKind.PLY),
    (b"ply\r", FileKind.PLY),
    (b"# vtk DataFile", FileKind.VTK),
    (b"#VRML", FileKind.VRML),
    (b"<VTKFile", FileKind.VTP),
)
_FOREIGN = (
    (b"\x1f\x8b", "packed with gzip", "Unpack it first"),
    (b"PK\x03\x04", "packed as a zip", "Unpack it first"),
    (b"BZh", "packed with bzip2", "Unpack it first"),
    (b"\xfd7zXZ", "packed with xz", "Unpack it first"),
    (b"NRRD", "an image volume, not a surface", "Give the surface of the bone"),
    (b"%PDF", "a PDF, not a surface", "Give the surface of the bone"),
)
_BYTE_ORDER_MARK = b"\xef\xbb\xbf"
_N_LOOKED_AT = 4096


def find_kind(data: bytes, *, suffix: str, where: str) -> FileKind:
    """
    Tell the kind of a file.

    Parameters
    ----------
    data
        The file, or its first 4 kB.
    suffix
        Of its name, with the dot.
    where
        The file, for the refusal.

    Returns
    -------
    FileKind
        The kind whose mark the file bears; else the one its suffix names.

    Raises
    ------
    FileRefusal
        Packed, another kind of data, or neither mark nor suffix is known.
    """
    for mark, wrong, remedy in _FOREIGN:
        if data.startswith(mark):
            raise FileRefusal(wrong, where, remedy)
    if data[128:132] == b"DICM":
        raise FileRefusal("a DICOM object, not a surface", where, "Give the surface of the bone")
    head = data[:_N_LOOKED_AT].removeprefix(_BYTE_ORDER_MARK).lstrip()
    for mark, kind in _MARKS:
        if head.startswith(mark):
            return kind
    if head.startswith(b"<?xml") and b"<VTKFile" in head:
        return FileKind.VTP
    if head.startswith(b"{") and b"\0" not in head:
        return FileKind.GLTF
    named = SUFFIXES.get(suffix.lower())
    if named in {FileKind.OBJ, FileKind.STL}:  # the two kinds without a mark
        return named
    if head[:5].lower() == b"solid" and b"facet" in head.lower():
        return FileKind.STL
    if named is not None:
        raise FileRefusal(
            f"named {suffix} but its content does not begin like {named.value}",
            where,
            "Export the surface again",
        )
    known = ", ".join(sorted(SUFFIXES))
    raise FileRefusal(
        f"not a kind of surface file that can be read (suffix '{suffix[:10]}', need one of "
        f"{known})",
        where,
        "Export the surface as STL or PLY",
    )
