"""What every sheet of the bench is made of: bounded numbers and words, nothing unknown."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

__all__ = ["Grams", "Percent", "Pieces", "Second", "Told", "Word"]

Grams = Annotated[float, Field(ge=0, le=100_000)]
Pieces = Annotated[int, Field(ge=0, le=100_000)]
Percent = Annotated[float, Field(ge=3, le=60)]
Word = Annotated[str, Field(max_length=80)]
Second = Annotated[float, Field(ge=0, le=3720)]


class Told(BaseModel):
    """Unknown fields are refused."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    def check(self) -> None:
        """Refuse what does not fit together."""
