"""A pulper's test sheet, by the two definitions in use: figures of the same run that differ in meaning."""

from __future__ import annotations

from drydown.errors import RangeError
from drydown.figures import Figure, Source, Status
from drydown.words import say

__all__ = ["pulper_by_outlet", "pulper_by_output"]

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
