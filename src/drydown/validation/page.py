"""Write docs/validation.md with its picture."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from drydown.validation.report import case_table, picture, summary_table
from drydown.validation.score import Held

__all__ = ["page"]

MARK = "<!-- tables by `make docs` -->"


def page(shipped: Sequence[Held], apart: Mapping[str, Held], file: Path) -> None:
    """Put the tables below the mark of the page, and the picture beside it.

    Args: shipped and apart, what the forecast says; file, docs/validation.md. What stands above the mark is
    written by hand and kept.
    """
    import vl_convert  # noqa: PLC0415 (heavy; only who writes the page)

    chart = picture(list(apart.values())).properties(background="#fdfcfd")
    (file.parent / "img" / "validation.svg").write_text(
        vl_convert.vegalite_to_svg(chart.to_dict()) + "\n", encoding="utf-8"
    )
    above = file.read_text(encoding="utf-8").split(MARK)[0]
    lines = [
        above.rstrip(),
        "",
        MARK,
        "",
        "### Each source left out of the estimate and predicted by the rest",
        "",
    ]
    lines += summary_table(list(apart.values()))
    lines += ["", "Without cases of grade C:", "", *summary_table(list(apart.values()), "AB")]
    lines += ["", "### Shipped draws, which saw these cases", "", *summary_table(shipped)]
    lines += ["", "### Every case", "", "A star: the published number lies outside P10 to P90.", ""]
    lines += case_table(shipped, apart)
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
