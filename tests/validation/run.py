"""`make validate`: the full grid of made hips against their truth, then facts of populations."""

from __future__ import annotations

import sys

from facts import print_facts
from grid import print_grid


def main() -> int:
    """Print both; 1 where a limit of the grid was missed."""
    held = print_grid()
    print_facts()
    print("\nall limits held" if held else "\na limit was missed")
    return 0 if held else 1


if __name__ == "__main__":
    sys.exit(main())
