"""A pulper's test sheet, by the two definitions in use: figures of the same run that differ in meaning."""

from __future__ import annotations

from fractions import Fraction

from drydown.errors import RangeError
from drydown.figures import Band, Figure, Source, Status
from drydown.words import say

__all__ = ["GAP", "broken_to_come", "pulper_by_outlet", "pulper_by_output"]

OUTPUT = Source(
    "a university's test report of a hand pulper (T8 of its sheet), no author named", Status.SECOND_HAND
)
OUTLETS = Source("PNS/PAES 253:2011, coffee pulper, methods of test", Status.PUBLISHED)


def _figure(value: float, unit: str, rule: str, source: Source, told: dict[str, str]) -> Figure:
    made = Figure.exact(value, unit, rule, **told)
    return Figure(made.value, unit, made.low, made.high, made.band, rule, told, (source,))


def pulper_by_output(
    fruit_kg: float, output_kg: float, unpulped_kg: float, seconds: float
) -> dict[str, Figure]:
    """Figures of a run by what came out of the bean side: the definition of test reports.

    Equation: efficiency (DP - UP)/DP; recovery DP/in; unpulped loss UP/in; capacity DP/t, with DP all
    that came out of the bean side and UP the whole fruit in it. Args: fruit_kg, output_kg, unpulped_kg
    [kg]; seconds [s]. Returns: name -> figure. Valid range: 0 <= UP <= DP <= in, t above 0.
    Source: a university's test report (0.75 kg in, 0.400 and 0.020 kg in 2.74 s: 95.00 %, 53.33 %,
    2.67 %, 525.55 kg/h).
    """
    if not 0.0 <= unpulped_kg <= output_kg <= fruit_kg or output_kg <= 0.0 or seconds <= 0.0:
        raise RangeError(
            say(
                "unpulped {unpulped_kg:g}, output {output_kg:g}, fruit {fruit_kg:g} kg in "
                "{seconds:g} s do not fit.",
                unpulped_kg=unpulped_kg,
                output_kg=output_kg,
                fruit_kg=fruit_kg,
                seconds=seconds,
            ),
            "pulper test",
            "Unpulped is part of the output, the output part of the fruit, time above 0.",
        )
    told = {
        "fruit": f"{fruit_kg:g} kg",
        "output": f"{output_kg:g} kg",
        "unpulped in it": f"{unpulped_kg:g} kg",
    }
    clean = 100 * (output_kg - unpulped_kg) / output_kg
    timed = told | {"time": f"{seconds:g} s"}
    return {
        "efficiency": _figure(clean, "%", "output less unpulped, over output", OUTPUT, told),
        "recovery": _figure(100 * output_kg / fruit_kg, "%", "output over fruit", OUTPUT, told),
        "unpulped_loss": _figure(100 * unpulped_kg / fruit_kg, "%", "unpulped over fruit", OUTPUT, told),
        "capacity": _figure(output_kg / seconds * 3600.0, "kg/h", "output over time", OUTPUT, timed),
    }  # fmt: skip


def pulper_by_outlet(
    fruit_kg: float, main_kg: float, pulp_outlet_kg: float, unpulped_kg: float, spilled_kg: float
) -> dict[str, Figure]:
    """Figures of a run by outlet, all over the fruit put in: the definition of the standard.

    Equation: efficiency = parchment at all outlets; recovery = parchment at the main outlet; separation
    loss = parchment in the pulp outlet; unpulped loss = whole fruit; scattering loss = parchment spilled
    at the base; each over the fruit. Recovery + separation loss = efficiency, spillage outside it.
    Args: fruit_kg; main_kg, pulp_outlet_kg, unpulped_kg, spilled_kg [kg]. Returns: name -> figure.
    Valid range: all 0 or more, together at most the fruit. Source: PNS/PAES 253:2011.
    """
    parts = (main_kg, pulp_outlet_kg, unpulped_kg, spilled_kg)
    if fruit_kg <= 0.0 or min(parts) < 0.0 or sum(parts) > fruit_kg * 1.02:
        raise RangeError(
            say(
                "the outlets give {sum:g} kg of {fruit_kg:g} kg of fruit.", sum=sum(parts), fruit_kg=fruit_kg
            ),
            "pulper test",
            "Weigh each outlet; together they cannot be more than the fruit.",
        )
    told = {
        "fruit": f"{fruit_kg:g} kg", "main outlet": f"{main_kg:g} kg",
        "pulp outlet": f"{pulp_outlet_kg:g} kg",
        "unpulped": f"{unpulped_kg:g} kg", "spilled": f"{spilled_kg:g} kg",
    }  # fmt: skip
    rows = {
        "efficiency": (main_kg + pulp_outlet_kg, "parchment at all outlets over fruit"),
        "recovery": (main_kg, "parchment at the main outlet over fruit"),
        "separation_loss": (pulp_outlet_kg, "parchment in the pulp outlet over fruit"),
        "unpulped_loss": (unpulped_kg, "whole fruit over fruit"),
        "scattering_loss": (spilled_kg, "parchment spilled at the base over fruit"),
    }
    return {name: _figure(100 * kg / fruit_kg, "%", rule, OUTLETS, told) for name, (kg, rule) in rows.items()}


GAP = Source("a good gap nips 1 to 2 %; above 5 % it is reset", Status.FROM_MEMORY)
BEAN_G = (0.12, 0.15, 0.20)
BEAN_SOURCE = Source("a green bean weighs 0.12 to 0.20 g", Status.FROM_MEMORY)


def broken_to_come(nipped_percent: float, sample_g: float, counts: Fraction, scheme_words: str) -> Figure:
    """Full defects that nipped beans will count in a graded sample, before anything is sorted out.

    Equation: n = sample / bean mass; full = n x share x what one piece counts; P10 and P90 by the count's own
    chance (Poisson) at a heavy and a light bean.
    Args: nipped_percent, of beans by number [%]; sample_g [g]; counts, full defects of one piece;
    scheme_words. Returns: [full defects]. Valid range: 0 to 50 %; else `RangeError`. Source: the scheme's
    table; bean mass from memory.
    """
    if not 0.0 <= nipped_percent <= 50.0:
        raise RangeError(say("must be from 0 to 50 %, got {v:g}.", v=nipped_percent), "nipped beans")
    from scipy.stats import poisson  # noqa: PLC0415 (slow to load, and only here)

    share, weight = nipped_percent / 100.0, float(counts)
    light, middle, heavy = (sample_g / g * share for g in BEAN_G)
    low, high = (float(poisson.ppf(q, n)) for q, n in ((0.1, heavy), (0.9, light)))
    inputs = {
        "nipped": f"{nipped_percent:g} %", "sample": f"{sample_g:g} g", "one piece counts": str(counts),
        "scheme": scheme_words,
    }  # fmt: skip
    return Figure(
        middle * weight, "full defects", low * weight, high * weight, Band.P10_P90,
        "beans of the sample times the nipped share times what one counts; nothing sorted out", inputs,
        (BEAN_SOURCE,),
    )  # fmt: skip
