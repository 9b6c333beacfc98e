"""docs/validation.md and its picture: what was published, what the forecast says, how far apart they are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from drydown.validation.calibrate import folds
from drydown.validation.cases import GROUPS
from drydown.validation.score import Group, Held, group_of

__all__ = ["case_table", "groups", "picture", "summary_table"]


def groups(rows: Sequence[Held], grades: str = "ABC") -> list[Group]:
    """Summary of each group, of these grades; then of all times to half the water."""
    chosen = [r for r in rows if r.case.grade in grades and not r.case.ratio]
    made = [group_of(g, mine) for g in GROUPS if (mine := [r for r in chosen if r.case.group == g])]
    half = [r for r in chosen if r.case.halfway]
    return made + ([group_of("of these, to half the water", half)] if half else [])


def summary_table(rows: Sequence[Held], grades: str = "ABC") -> list[str]:
    """Markdown of `groups`."""
    lines = [
        "| | cases | sources | bias | median error | inside P10-P90 | 90 % interval of that share |",
        "|---|---|---|---|---|---|---|",
    ]
    for g in groups(rows, grades):
        lines.append(
            f"| {g.name} | {g.cases} | {g.sources} | {g.bias:.2f} | {100 * g.error:.0f} % | "
            f"{g.inside} ({100 * g.inside / g.cases:.0f} %) | "
            f"{100 * g.share_low:.0f}-{100 * g.share_high:.0f} % |"
        )
    return lines


def case_table(shipped: Sequence[Held], apart: Mapping[str, Held]) -> list[str]:
    """Markdown, a line a case: published, forecast, and forecast without its source."""
    number = folds([r.case for r in shipped])
    lines = [
        "| case | what, where | grade | fold | published | forecast | its source left out | source |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for r in shipped:
        c = r.case
        left = apart.get(c.name)
        other = "" if left is None else _span(left)
        lines.append(
            f"| {c.name} | {c.species} {c.form}, {c.where.label}, {_per_cent(c.start_wb)} to "
            f"{_per_cent(c.target_wb)} | {c.grade} | {number[c.origin] + 1} | {_published(r)} | "
            f"{_span(r)} | {other} | "
            f"{c.source} ({c.status}); {c.conditions} |"
        )
    return lines


def _per_cent(wb: float | None) -> str:
    return "fresh" if wb is None else f"{100 * wb:.1f} %"


def _scale(r: Held) -> tuple[float, str]:
    return {"d": (24.0, "d"), "h": (1.0, "h"), "sun_h": (1.0, "h of sun"), "ratio": (1.0, "")}[r.case.unit]


def _published(r: Held) -> str:
    scale, unit = _scale(r)
    span = r.case.published_range
    text = "" if span is None else f" ({span[0] / scale:.3g}-{span[1] / scale:.3g})"
    return f"{r.case.published / scale:.3g}{text} {unit}".strip()


def _span(r: Held) -> str:
    scale, unit = _scale(r)
    inside = "" if r.inside else " *"
    return f"{r.p50 / scale:.3g} ({r.p10 / scale:.3g}-{r.p90 / scale:.3g}) {unit}".strip() + inside


def picture(rows: Sequence[Held]) -> Any:
    """Predicted against published, with bands, both axes logarithmic: an Altair chart."""
    import altair as alt  # noqa: PLC0415 (heavy; only who draws needs it)

    data = [
        {"published": r.case.published, "p10": r.p10, "p50": r.p50, "p90": r.p90, "group": r.case.group}
        for r in rows
        if not r.case.ratio
    ]  # fmt: skip
    ends = [0.7, 1500.0]
    x = alt.X("published:Q", title="published, hours", scale=alt.Scale(type="log", domain=ends, nice=False))
    y = alt.Y(
        "p10:Q", title="forecast, hours (P10 to P90)", scale=alt.Scale(type="log", domain=ends, nice=False)
    )
    shape = alt.Shape(
        "group:N",
        title=None,
        scale=alt.Scale(domain=list(GROUPS), range=["circle", "square", "triangle-up"]),
        legend=alt.Legend(orient="bottom", labelLimit=300),
    )
    base = alt.Chart(_data(alt, data))
    line = (
        alt.Chart(_data(alt, [{"published": e, "p10": e} for e in ends]))
        .mark_line(color="#777")
        .encode(x=x, y=y)
    )
    band = base.mark_rule(color="#7b5796", opacity=0.5).encode(x=x, y=y, y2="p90:Q")
    dots = base.mark_point(color="#4a2560", filled=True, size=45).encode(x=x, y="p50:Q", shape=shape)
    return (line + band + dots).properties(width=520, height=420)


def _data(alt: Any, values: list[dict[str, Any]]) -> Any:
    return alt.Data(values=values)
