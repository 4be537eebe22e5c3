"""`make validate`: made hips against their truth, their scans too, then facts of populations."""

from __future__ import annotations

import sys

from facts import print_facts
from grid import print_grid
from scans import print_scans


def main() -> int:
    """Print all; 1 where a limit was missed."""
    held = print_grid()
    held &= print_scans()
    print_facts()
    print("\nall limits held" if held else "\na limit was missed")
    return 0 if held else 1


if __name__ == "__main__":
    sys.exit(main())
