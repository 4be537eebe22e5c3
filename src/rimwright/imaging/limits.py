"""Limits of a bone file: what a reader accepts before it sets memory aside.

All are far above what a hip needs; a file past them is damaged, hostile or another subject.
"""

from __future__ import annotations

MAX_FILE_BYTES = 512 * 1024**2
"""Bytes of one file, and of what a packed file unpacks to; text of 2 million triangles fits."""
MAX_TRIANGLES = 5_000_000
"""Triangles of one file; a pelvis with edges of 0.3 mm has about 3 million."""
MAX_VERTICES = 3 * MAX_TRIANGLES
"""Vertices of one file: three of its own for every triangle."""
MAX_SHELLS = 1000
"""Groups, nodes or pieces that one file may declare."""
MAX_BODIES = 200
"""Separate surfaces that are looked at; smaller ones beyond them are left out as dust."""
MAX_DEPTH = 64
"""Nesting of nodes, tags or groups."""
MAX_NODES = 100_000
"""Nodes or tags of one scene, repeats by reference counted again."""
MAX_POLYGON_CORNERS = 64
"""Corners of a polygon that is not convex; cutting its ears costs the square of them."""
MAX_CONCAVE_CORNERS = 20_000
"""Corners of all polygons of five and more corners that are not convex, together."""
MAX_HEADER_BYTES = 64 * 1024
"""Text before the numbers of a PLY or VTK file."""
MAX_NAME_LETTERS = 60
"""Letters of a name taken from a file."""
