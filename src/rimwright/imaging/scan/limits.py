"""Limits of a scan: what a reader accepts before it sets memory aside.

All are above what a scan of a pelvis needs; what is past them is damaged, hostile or another
subject.
"""

from __future__ import annotations

MAX_VOLUME_BYTES = 1_300_000_000
"""Bytes of a volume in memory; 512 × 512 × 2400 as int16 fit."""
MAX_SIDE = 8192
"""Voxels along one axis."""
MAX_FILES = 20_000
"""Files of a folder or members of an archive that are looked at."""
MAX_FOLDER_DEPTH = 16
"""Folders inside folders that are looked into."""
MAX_ARCHIVE_RATIO = 100
"""Bytes out of an archive member for each byte in it; slices pack to a half or a third, air to
a fiftieth."""
RATIO_FREE_BYTES = 4 * 1024**2
"""A member or stream this small may be packed as tightly as it likes."""
MAX_ARCHIVE_BYTES = 8 * 1024**3
"""Bytes of all members of an archive together, as unpacked; they are never all in memory."""
MAX_MEMBER_BYTES = 2 * 1024**3
"""Bytes of one file of slices."""
HEADER_STEPS = (64 * 1024, 1024**2, 16 * 1024**2, 64 * 1024**2)
"""Bytes of a DICOM file that are read in search of its pixels, one after the other in vain."""
MAX_TEXT_HEADER_BYTES = 1024**2
"""Bytes before the numbers of an NRRD or MetaImage file."""
MAX_FRAMES = 20_000
"""Slices of one file."""
MAX_SERIES = 200
"""Series that are told apart in one place."""
MAX_SURPLUS_BYTES = 4096
"""Bytes behind the last number of a volume that are passed over: some programs fill up blocks."""
MAX_CONVERSION_BYTES = 1_600_000_000
"""Bytes of a volume as stored and as converted, together."""
MIN_SLICES = 6
"""Fewer are a scout or a few views, never a volume of a hip."""
MAX_LABEL = 65535
"""Largest number of a label."""
