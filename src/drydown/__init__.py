"""Drydown: from ripe coffee fruit at the gate to a dry lot.

The public names load when they are first used, so that `import drydown` is light; docs/python.md has
examples. The rooms, from the ground up: `matter` and `trade`, `air`, `steps` and `quality`, `station`,
`outlook`, `way`, `books`, then `desk` and `cli`; see docs/architecture.md.
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from drydown.public import (
        BalanceError,
        Band,
        DrydownError,
        Drying,
        DryingForecast,
        Figure,
        HourlyWeather,
        InputError,
        MassBalance,
        MonthNormals,
        Named,
        NamedSet,
        NotFittedError,
        PastLot,
        Place,
        PriceChain,
        RangeError,
        Routine,
        Scheme,
        Sheet,
        Site,
        Source,
        Station,
        StationFit,
        Status,
        Verdict,
        balance,
        dry,
        emc_wb,
        erh,
        example_station,
        fit,
        forecast,
        form_names,
        grade,
        make_weather,
        place,
        place_names,
        price,
        read_station,
        read_weather,
        route_names,
        scheme_names,
        species_names,
        water_activity,
    )

__all__ = [
    "BalanceError",
    "Band",
    "DrydownError",
    "Drying",
    "DryingForecast",
    "Figure",
    "HourlyWeather",
    "InputError",
    "MassBalance",
    "MonthNormals",
    "Named",
    "NamedSet",
    "NotFittedError",
    "PastLot",
    "Place",
    "PriceChain",
    "RangeError",
    "Routine",
    "Scheme",
    "Sheet",
    "Site",
    "Source",
    "Station",
    "StationFit",
    "Status",
    "Verdict",
    "__version__",
    "balance",
    "dry",
    "emc_wb",
    "erh",
    "example_station",
    "fit",
    "forecast",
    "form_names",
    "grade",
    "make_weather",
    "place",
    "place_names",
    "price",
    "read_station",
    "read_weather",
    "route_names",
    "scheme_names",
    "species_names",
    "water_activity",
]  # fmt: skip

__version__ = "0.1.0"


def __getattr__(name: str) -> Any:
    """Load a public name when it is first used."""
    if name not in __all__:
        raise AttributeError(name)
    from drydown import public  # noqa: PLC0415

    return getattr(public, name)


def __dir__() -> list[str]:
    """The public names."""
    return sorted(__all__)
