"""`python -m drydown.validation`: the table of truth; `fit`: estimate anew; `page FILE`: its page of docs."""

from __future__ import annotations

import sys
from pathlib import Path

from drydown.validation.cases import all_cases
from drydown.validation.left_out import kept
from drydown.validation.report import summary_table
from drydown.validation.runs import hours_of
from drydown.validation.score import Held, held

MEMBERS = 200


def main(arguments: list[str]) -> int:
    """Run one of the three."""
    if arguments[:1] == ["fit"]:
        from drydown.validation.fit import fit  # noqa: PLC0415 (emcee is a tool of who calibrates)

        fit(Path(__file__).resolve().parents[1])
        return 0
    rows = shipped()
    apart = kept(all_cases())
    if arguments[:1] == ["page"]:
        from drydown.validation.page import page  # noqa: PLC0415 (draws; only who writes the page)

        page(rows, apart, Path(arguments[1]))
        return 0
    for title, table in (
        ("Shipped draws", rows),
        ("Each source left out of the estimate", list(apart.values())),
    ):
        for grades in ("ABC", "AB"):
            print(f"\n{title}, grades {' '.join(grades)}")
            print("\n".join(summary_table(table, grades)))
    return 0


def shipped() -> list[Held]:
    """Every case against the shipped draws."""
    return [held(case, hours_of(case, MEMBERS)) for case in all_cases().values()]


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
