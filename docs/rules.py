"""Write the rules into docs/treatment.md again, from the rules as shipped and nothing else."""

from __future__ import annotations

from pathlib import Path

from rimwright.treatment import rules_page

PAGE = Path(__file__).resolve().parent / "treatment.md"
MARK = "<!-- below this line the page is written by docs/rules.py -->"


def main() -> None:
    """Keep what stands above the mark, write the rest."""
    head, mark, _ = PAGE.read_text(encoding="utf-8").partition(MARK)
    if not mark:
        raise SystemExit(f"{PAGE}: the mark is missing (need {MARK}). Put it where rules begin.")
    PAGE.write_text(f"{head}{MARK}\n\n{rules_page()}", encoding="utf-8")


if __name__ == "__main__":
    main()
