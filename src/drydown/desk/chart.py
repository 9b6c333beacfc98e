"""The drying curve as SVG, drawn on the server; prints, and carries words beside it."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from django.core.cache import cache

from drydown.desk.colours import AHEAD, HUE, MID, PAPER
from drydown.outlook.forecast import DryingForecast
from drydown.words import say

__all__ = ["Dot", "charting", "curve_rows", "curve_svg", "curve_words", "drawn", "screens_svg"]

Dot = tuple[datetime, float]
INK, BAND, RULE = HUE, AHEAD, MID


def curve_svg(found: DryingForecast, dots: Sequence[Dot], key: str) -> str:
    """SVG text of the forecast with its band, the readings and the target."""
    digest = hashlib.sha256(f"{key}{dots}".encode()).hexdigest()
    name = f"curve-3-{digest}"
    kept = cache.get(name)
    if isinstance(kept, str):
        return kept
    svg = drawn(_chart(found, dots))
    cache.set(name, svg, None)
    return svg


def drawn(chart: Any) -> str:
    """A chart as SVG text."""
    import vl_convert  # noqa: PLC0415 (loads a renderer; only where a chart is drawn)

    svg: str = vl_convert.vegalite_to_svg(chart.to_dict())
    return svg.replace("<svg ", '<svg role="img" ', 1)


def _rows(found: DryingForecast, every: int) -> list[dict[str, Any]]:
    low, middle, high = found.curve_wb * 100.0
    start = found.case.start.replace(tzinfo=None)
    end = _last_hour(found)
    return [
        {
            "time": (start + timedelta(hours=h)).isoformat(),
            "low": round(float(low[h]), 3),
            "middle": round(float(middle[h]), 3),
            "high": round(float(high[h]), 3),
        }
        for h in range(0, end + 1, every)
    ]


def _last_hour(found: DryingForecast) -> int:
    late = found.dry_on()[2]
    hours = int(found.curve_wb.shape[1]) - 1
    if late is None:
        return hours
    return int(min(hours, int((late - found.case.start) / timedelta(hours=1)) + 12))


def _chart(found: DryingForecast, dots: Sequence[Dot]) -> Any:
    alt = charting()

    data = alt.Data(values=_rows(found, 3))
    time = alt.X("time:T", title=None, axis=alt.Axis(format="%d %b", labelAngle=0, tickCount=6))
    base = alt.Chart(data)
    band = base.mark_area(color=BAND, opacity=0.8).encode(
        x=time, y=alt.Y("low:Q", title="moisture, % wet basis"), y2="high:Q"
    )
    line = base.mark_line(color=INK, strokeWidth=2).encode(x=time, y="middle:Q")
    target = (
        alt.Chart(alt.Data(values=[{"y": found.case.target_wb * 100.0}]))
        .mark_rule(color=RULE, strokeDash=[6, 4], strokeWidth=2)
        .encode(y="y:Q")
    )
    layers = [band, line, target]
    if dots:
        points = [{"time": t.replace(tzinfo=None).isoformat(), "m": m * 100.0} for t, m in dots]
        marks = alt.Chart(alt.Data(values=points)).mark_point(
            color=RULE, filled=True, size=70, shape="diamond"
        )
        layers.append(marks.encode(x=time, y="m:Q"))
    chart = alt.layer(*layers).properties(width=400, height=250, background=PAPER)
    return chart.configure_axis(labelFontSize=13, titleFontSize=13, gridColor="#e4dfcf")


def charting() -> Any:
    """The charting library, loaded where a chart is drawn.

    It looks for pandas among the loaded modules, and fails where another thread is half way through loading
    it: so pandas is loaded first, which waits for that thread.
    """
    import altair  # noqa: PLC0415
    import pandas  # noqa: F401, PLC0415

    return altair


def curve_words(found: DryingForecast) -> str:
    """The chart in one sentence, for those who do not see it."""
    now = found.case.moisture_wb_now
    start = 100.0 * (found.curve_wb[1, 0] if now is None else now)
    if start <= found.case.target_wb * 100.0:
        target = found.case.target_wb * 100.0
        return say(
            "At {start:.1f} % wet basis the lot is at or below its target of {target:g} %.",
            start=start,
            target=target,
        )
    early, middle, late = found.dry_on()
    names = [m.strftime("%d %b") if m else "later than the forecast reaches" for m in (early, middle, late)]
    return say(
        "Moisture falls from {start:.1f} % to {target_wb:g} % wet basis; early {value}, "
        "middle {value_2}, late {value_3}.",
        start=start,
        target_wb=found.case.target_wb * 100,
        value=names[0],
        value_2=names[1],
        value_3=names[2],
    )


def curve_rows(found: DryingForecast) -> list[dict[str, Any]]:
    """The same curve as table rows, one a day at the hour of the start."""
    rows = _rows(found, 24)
    for row in rows:
        row["time"] = datetime.fromisoformat(row["time"])
    return rows


def screens_svg(rows: Sequence[tuple[str, float]]) -> str:
    """Bars of mass by screen, the coarsest first, with the number beside each."""
    alt = charting()
    data = alt.Data(values=[{"screen": name, "share": round(share, 1)} for name, share in rows])
    base = alt.Chart(data).encode(
        y=alt.Y("screen:N", sort=None, title="screen"), x=alt.X("share:Q", title="% of the mass")
    )
    marks = base.mark_bar(color=INK) + base.mark_text(align="left", dx=4, fontSize=13).encode(text="share:Q")
    chart = marks.properties(width=300, height=26 * len(rows), background=PAPER)
    return drawn(chart.configure_axis(labelFontSize=13, titleFontSize=13, gridColor="#e4dfcf"))
