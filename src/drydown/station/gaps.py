"""What a station's description still lacks, and what waiting for it costs."""

from __future__ import annotations

from dataclasses import dataclass

from drydown.matter.routes import form_of_route
from drydown.station.model import Station
from drydown.words import say, sentence

__all__ = ["Gap", "gaps"]


@dataclass(frozen=True, slots=True)
class Gap:
    """One thing that may come later: what it is about, in words, and what waiting costs."""

    about: str
    words: str
    costs: str

    def __post_init__(self) -> None:
        object.__setattr__(self, "words", sentence(self.words))
        object.__setattr__(self, "costs", sentence(self.costs))


def gaps(station: Station) -> list[Gap]:
    """What is not described yet, in the order it is needed.

    Args: station. Returns: gaps; `about` is one of "climate", "tanks", "pulpers", "drying", "stores".
    """
    found, things = [], station.equipment
    if not station.weather.given:
        found.append(Gap("climate", "no climate", "no lot has a forecast until its twelve months are typed"))
    if "washed" in station.routes and not things.tanks:
        found.append(Gap("tanks", "no tank", "washed lots wait after the pulper until a tank is described"))
    if any(route != "natural" for route in station.routes) and not things.pulpers:
        found.append(Gap("pulpers", "no pulper", "how long a pulper is busy cannot be told"))
    for form in dict.fromkeys(form_of_route(route) for route in station.routes):
        if form not in station.drying:
            found.append(Gap(
                "drying", say("no habits of drying {form}", form=form.replace("_", " ")),
                "its lots have no forecast, and their target is taken as 11 % wb",
            ))  # fmt: skip
    if not things.stores:
        found.append(
            Gap("stores", "no store", "how warm and how full it is where dry lots lie cannot be told")
        )
    return found
