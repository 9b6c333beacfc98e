"""The family of a lot as SVG: generations from left to right, lines as thick as their share."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from drydown.books.lots.family import Kin
from drydown.desk.chart import charting
from drydown.desk.colours import AHEAD, HUE, MID, PAPER

__all__ = ["family_svg", "generations"]

INK, RULE, LINE = HUE, MID, AHEAD


def generations(code: str, above: Sequence[Kin], below: Sequence[Kin]) -> dict[str, int]:
    """Generation of each lot: 0 the lot itself, below zero where it came from."""
    found = {code: 0}
    for edges, near, far, step in ((above, "child", "parent", -1), (below, "parent", "child", 1)):
        todo = [code]
        while todo:
            here = todo.pop()
            for edge in edges:
                if getattr(edge, near) == here:
                    other = getattr(edge, far)
                    deeper = found[here] + step
                    if other not in found or abs(deeper) > abs(found[other]):
                        found[other] = deeper
                        todo.append(other)
    return found


def _places(ranks: dict[str, int]) -> dict[str, tuple[int, float]]:
    rows: dict[int, list[str]] = {}
    for name, rank in ranks.items():
        rows.setdefault(rank, []).append(name)
    return {
        name: (rank, (i + 0.5) / len(names)) for rank, names in rows.items() for i, name in enumerate(names)
    }


def family_svg(code: str, above: Sequence[Kin], below: Sequence[Kin]) -> str:
    """SVG text of the family."""
    import vl_convert  # noqa: PLC0415 (loaded where a chart is drawn)

    alt = charting()
    at = _places(generations(code, above, below))
    points: list[dict[str, Any]] = [
        {"x": x, "y": y, "code": name, "mine": name == code} for name, (x, y) in at.items()
    ]
    lines: list[dict[str, Any]] = [
        {"x": at[e.parent][0], "y": at[e.parent][1], "x2": at[e.child][0], "y2": at[e.child][1],
         "kg": e.dry_g / 1000.0}
        for e in (*above, *below)
    ]  # fmt: skip
    span = [min(p["x"] for p in points) - 0.4, max(p["x"] for p in points) + 0.4]
    x = alt.X("x:Q", axis=None, scale=alt.Scale(domain=span))
    y = alt.Y("y:Q", axis=None, scale=alt.Scale(domain=[0, 1], reverse=True))
    width = alt.StrokeWidth("kg:Q", legend=None, scale=alt.Scale(range=[2, 12]))
    rules = (
        alt.Chart(alt.Data(values=lines))
        .mark_rule(color=LINE)
        .encode(x=x, y=y, x2="x2:Q", y2="y2:Q", strokeWidth=width)
    )
    colour = alt.condition("datum.mine", alt.value(RULE), alt.value(INK))
    base = alt.Chart(alt.Data(values=points)).encode(x=x, y=y)
    dots = base.mark_point(filled=True, size=110, opacity=1).encode(color=colour)
    names = base.mark_text(dy=-14, fontSize=13).encode(text="code:N", color=colour)
    chart = alt.layer(rules, dots, names).properties(width=440, height=220, background=PAPER)
    svg: str = vl_convert.vegalite_to_svg(chart.configure_view(stroke=None).to_dict())
    return svg.replace("<svg ", '<svg role="img" ', 1)
