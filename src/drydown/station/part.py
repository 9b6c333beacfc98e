"""What all parts of a station file share."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field
from pydantic_core import PydanticCustomError

from drydown.matter.routes import route_names
from drydown.matter.species import species_names
from drydown.steps.dry.data import form_names

__all__ = ["FormName", "Hour", "Part", "RouteName", "Share", "SpeciesName", "Text"]

Text = Annotated[str, Field(min_length=1, max_length=80)]


def _one_of(names: Callable[[], list[str]]) -> AfterValidator:
    def check(value: str) -> str:
        if value not in names():
            expected = " or ".join(f"'{n}'" for n in names())
            raise PydanticCustomError("literal_error", "must be one of {expected}", {"expected": expected})
        return value

    return AfterValidator(check)


SpeciesName = Annotated[str, _one_of(species_names)]
RouteName = Annotated[str, _one_of(route_names)]
Hour = Annotated[float, Field(ge=0, le=24)]
Share = Annotated[float, Field(ge=0, le=0.9)]
FormName = Annotated[str, _one_of(form_names)]


class Part(BaseModel):
    """Base of all parts: unknown keys are refused, so a misspelt key cannot be lost."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
