"""Draw the figures of docs/gallery.md and docs/drying.md as SVG.

Usage: python tools/make_figures.py
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))
IMAGES = ROOT / "docs" / "img"
INK, WARM = "#4a2560", "#7b5796"


def main() -> None:
    """Draw them all."""
    IMAGES.mkdir(exist_ok=True)
    for name, draw in {
        "sensitivity": sensitivity,
        "convergence": convergence,
        "resolution": resolution,
        "isotherm": isotherm,
    }.items():
        (IMAGES / f"{name}.svg").write_text(_svg(draw()), encoding="utf-8")
        print(f"drew docs/img/{name}.svg")


def _svg(chart: Any) -> str:
    import vl_convert  # noqa: PLC0415

    plain = chart.properties(background="#fdfcfd").configure_axis(labelFontSize=13, titleFontSize=13)
    text: str = vl_convert.vegalite_to_svg(plain.to_dict())
    return text + "\n"


def _altair() -> Any:
    import altair  # noqa: PLC0415

    return altair


def sensitivity() -> Any:
    """Days to 11 % of the base lot with one property at the ends of its range."""
    alt = _altair()

    from drydown.steps.dry.data import form  # noqa: PLC0415

    kind = form("parchment")
    base = _days({})
    rows = []
    names = "d40_m2_s absorptance radius_m ea_j_mol h_scale isotherm_scale x_bean air_resistance"
    for name in names.split():
        r = kind.ranges[name]
        rows += [
            {"what": name, "end": end, "days": _days({name: v})}
            for end, v in (("low", r.low), ("high", r.high))
        ]
    rows += [
        {"what": "sun", "end": end, "days": _days({}, sun_kwh=v)} for end, v in (("low", 4.1), ("high", 6.1))
    ]
    rows += [
        {"what": "air", "end": end, "days": _days({}, warmer_c=v)}
        for end, v in (("low", -3.0), ("high", 3.0))
    ]
    data = alt.Data(values=rows)
    marks = (
        alt.Chart(data)
        .mark_point(filled=True, size=90)
        .encode(
            x=alt.X("days:Q", title=f"days to 11 % wb (base {base:.1f})", scale=alt.Scale(zero=False)),
            y=alt.Y("what:N", title=None, sort=None),
            shape="end:N",
            color=alt.Color("end:N", scale=alt.Scale(range=[WARM, INK]), title="end of range"),
        )
    )
    rule = alt.Chart(alt.Data(values=[{"x": base}])).mark_rule(strokeDash=[5, 4]).encode(x="x:Q")
    return (marks + rule).properties(width=420, height=260)


def _days(change: dict[str, float], **weather: float) -> float:
    from tests.dry.cases import fair_weather, typical  # noqa: PLC0415

    from drydown.steps.dry.data import place  # noqa: PLC0415
    from drydown.steps.dry.routine import Routine  # noqa: PLC0415
    from drydown.steps.dry.run import dry  # noqa: PLC0415

    parameters = typical("parchment") | {k: np.array([v]) for k, v in change.items()}
    run = dry(parameters, place("raised_bed"), fair_weather(30, **weather), Routine(), 12 / 2.13, 0.11)
    return float(run.done_h[0]) / 24.0


def convergence() -> Any:
    """Error against a tight run by steps an hour: the slope shows the order of the method."""
    alt = _altair()
    from tests.dry.cases import fair_weather, typical  # noqa: PLC0415

    from drydown.steps.dry.data import place  # noqa: PLC0415
    from drydown.steps.dry.routine import Routine  # noqa: PLC0415
    from drydown.steps.dry.run import dry  # noqa: PLC0415

    rows = []
    for name in ("parchment", "cherry"):
        args = (typical(name), place("raised_bed"), fair_weather(8), Routine(), 6.0, 0.05, None)
        exact = dry(*args, 1e-6).moisture_wb()[0]
        for tolerance in (3e-5, 1e-4, 3e-4, 1e-3, 4e-3, 1.2e-2):
            run = dry(*args, tolerance)
            error = 100.0 * float(np.abs(run.moisture_wb()[0] - exact).max())
            rows.append({"form": name, "steps": run.steps / (8 * 24), "error": error})
    scale = alt.Scale(type="log")
    return (
        alt.Chart(alt.Data(values=rows))
        .mark_line(point=True)
        .encode(
            x=alt.X("steps:Q", scale=scale, title="steps an hour (mean)"),
            y=alt.Y("error:Q", scale=scale, title="largest error, points wb"),
            color=alt.Color("form:N", scale=alt.Scale(range=[WARM, INK])),
        )
        .properties(width=420, height=260)
    )


def resolution() -> Any:
    """Shells against the sphere series, and layers against ten of them."""
    alt = _altair()
    from tests.dry.cases import fair_weather, one_member, typical  # noqa: PLC0415
    from tests.dry.reference import integrate  # noqa: PLC0415
    from tests.dry.test_shells import SERIES, shells_ratio  # noqa: PLC0415

    from drydown.steps.dry.data import place  # noqa: PLC0415
    from drydown.steps.dry.routine import Routine  # noqa: PLC0415

    shells = [
        {"shells": n, "error": max(abs(shells_ratio(n, f) - mr) for f, mr in SERIES.items())}
        for n in (3, 4, 6, 8, 12, 16, 24, 32)
    ]
    layers = []
    for name, load in (("parchment", 5.6), ("cherry", 8.6)):
        args = one_member(typical(name), place("raised_bed"), fair_weather(8), Routine(), load)
        curves = {n: integrate(*args, 1e-6, "LSODA", n)[0] for n in (1, 2, 3, 4, 6, 8, 10)}
        wet = {n: x / (1.0 + x) for n, x in curves.items()}
        layers += [
            {"form": name, "layers": n, "gap": 100.0 * float(np.abs(w - wet[10]).max())}
            for n, w in wet.items()
            if n < 10
        ]
    log = alt.Scale(type="log")
    left = (
        alt.Chart(alt.Data(values=shells))
        .mark_line(point={"color": INK}, color=INK)
        .encode(
            x=alt.X("shells:Q", scale=log, title="shells in a bean"),
            y=alt.Y("error:Q", scale=log, title="largest error of moisture ratio, Fo 0.02-0.4"),
        )
        .properties(width=260, height=240)
    )
    right = (
        alt.Chart(alt.Data(values=layers))
        .mark_line(point=True)
        .encode(
            x=alt.X("layers:Q", scale=log, title="layers in a bed"),
            y=alt.Y("gap:Q", scale=log, title="largest gap to ten layers, points wb"),
            color=alt.Color("form:N", scale=alt.Scale(range=[WARM, INK])),
        )
        .properties(width=260, height=240)
    )
    return left | right


def isotherm() -> Any:
    """Published isotherm of parchment redrawn, with the smooth form the engine uses."""
    alt = _altair()

    from drydown.matter.sorption import emc_wb, oswin_emc_db  # noqa: PLC0415

    rows = []
    for temp in (10.0, 25.0, 40.0):
        for rh in np.linspace(0.2, 0.9, 36):
            m = float(oswin_emc_db(temp, rh))
            exact = float(emc_wb(temp, rh))
            rows.append({"rh": rh, "wb": 100 * exact, "t": f"{temp:.0f} C", "what": "Trejos et al. 1989"})
            rows.append({"rh": rh, "wb": 100 * m / (1 + m), "t": f"{temp:.0f} C", "what": "engine"})
    return (
        alt.Chart(alt.Data(values=rows))
        .mark_line()
        .encode(
            x=alt.X("rh:Q", title="relative humidity"),
            y=alt.Y("wb:Q", title="moisture, % wb", scale=alt.Scale(zero=False)),
            color=alt.Color("t:N", title=None),
            strokeDash=alt.StrokeDash("what:N", title=None),
        )
        .properties(width=420, height=260)
    )


if __name__ == "__main__":
    main()
