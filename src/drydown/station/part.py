"""What all parts of a station file share."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

__all__ = ["FormName", "Hour", "Part", "RouteName", "Share", "SpeciesName", "Text"]

Text = Annotated[str, Field(min_length=1, max_length=80)]
SpeciesName = Literal["arabica", "robusta", "liberica"]
RouteName = Literal["washed", "pulped_natural", "natural"]
Hour = Annotated[float, Field(ge=0, le=24)]
Share = Annotated[float, Field(ge=0, le=0.9)]
FormName = Literal["parchment", "mucilage", "cherry", "green"]


class Part(BaseModel):
    """Base of all parts: unknown keys are refused, so a misspelt key cannot be lost."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
