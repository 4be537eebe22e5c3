"""Limits of a bone file: what a reader accepts before it sets memory aside.

All are far above what a hip needs; a file past them is damaged, hostile or another subject.
"""

from __future__ import annotations

MAX_FILE_BYTES = 256 * 1024**2
"""Bytes of one file, and of what packed numbers unpack to; 5 million binary triangles fit."""
MAX_TRIANGLES = 5_000_000
"""Triangles of one file; a pelvis with edges of 0.3 mm has about 3 million."""
MAX_VERTICES = 3 * MAX_TRIANGLES
"""Vertices of one file: three of its own for every triangle."""
MAX_CORNERS = 4 * MAX_TRIANGLES
"""Corners of all polygons and strips of one file, their sizes counted with them."""
MAX_UNEVEN_NUMBERS = 20_000_000
"""Numbers of a text PLY whose lists differ in length: they are read one by one."""
MAX_NESTING_TESTS = 1000
"""Pairs of pieces tried for one inside the other."""
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
MAX_WORDS = 2_000_000
"""Words and brackets of a VRML file outside its lists of numbers."""
MAX_LINES = 12_000_000
"""Lines of an OBJ file."""
MAX_JSON_ITEMS = 2_000_000
"""Lists, objects and commas of the JSON of a glTF file; its numbers stand in buffers."""
MAX_HEADER_BYTES = 64 * 1024
"""Text before the numbers of a PLY or VTK file."""
MAX_NAME_LETTERS = 60
"""Letters of a name taken from a file."""
