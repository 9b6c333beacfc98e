"""A sample's sheet: what was counted, weighed and sieved. Bad sheets are answered in one sentence."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from drydown.errors import InputError, RangeError
from drydown.words import say

__all__ = ["Sheet", "closes", "load_sheet", "parse_sheet"]

CLOSURE = 0.02
Grams = Annotated[float, Field(ge=0, le=100_000)]


class Sheet(BaseModel):
    """One sample as the bench wrote it down.

    `counts`: pieces by defect; `masses_g`: mass by defect or group; `screens_g`: mass retained by
    screen number, with "pan" for what fell through all, numbers by `screens_table` (empty: by the
    scheme's own); `moisture_percent` by `moisture_method`. Per cent of the sample may stand for grams
    (`masses_percent`, `screens_percent`); `rest_none`: all other classes were looked for, none found.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    lot: Annotated[str, Field(max_length=40)] = ""
    species: Annotated[str, Field(max_length=20)] = ""
    sample_g: Annotated[float, Field(gt=0, le=100_000)]
    counts: dict[str, Annotated[int, Field(ge=0, le=100_000)]] = {}
    masses_g: dict[str, Grams] = {}
    screens_g: dict[str, Grams] = {}
    screens_table: Annotated[str, Field(max_length=20)] = ""
    moisture_percent: Annotated[float, Field(ge=3, le=60)] | None = None
    moisture_method: Annotated[str, Field(max_length=60)] = ""
    quakers: Annotated[int, Field(ge=0, le=10_000)] | None = None
    rest_none: bool = False
    bags: tuple[dict[str, Annotated[int, Field(ge=0, le=100_000)]], ...] = ()

    @model_validator(mode="before")
    @classmethod
    def _in_grams(cls, told: Any) -> Any:
        """Per cent of the sample as grams, so that one rule serves both."""
        if not isinstance(told, dict):
            return told
        kept = dict(told)
        for name in ("masses", "screens"):
            shares = kept.pop(f"{name}_percent", None)
            if shares is None:
                continue
            if kept.get(f"{name}_g"):
                raise ValueError(say("{name} stand in grams and in per cent; write one of them", name=name))
            kept[f"{name}_g"] = _of_sample(shares, kept.get("sample_g"), name)
        return kept

    def check(self) -> None:
        """Refuse masses that do not add up."""
        off = sum(self.masses_g.values())
        if off > self.sample_g * (1 + CLOSURE):
            raise RangeError(
                say(
                    "defects weigh {off:g} g in a sample of {sample_g:g} g.", off=off, sample_g=self.sample_g
                ),
                "masses_g",
            )
        if self.screens_g:
            closes(sum(self.screens_g.values()), self.sample_g)


def _of_sample(shares: Any, sample_g: Any, name: str) -> dict[str, float]:
    """Per cent of a sample's mass as grams."""
    whole = isinstance(sample_g, int | float) and not isinstance(sample_g, bool)
    if not isinstance(shares, dict) or not whole:
        raise ValueError(say("{name}_percent needs sample_g and a table of numbers", name=name))
    if not all(isinstance(v, int | float) and 0 <= v <= 100 for v in shares.values()):
        raise ValueError(say("{name}_percent must be numbers from 0 to 100", name=name))
    return {str(k): float(v) * float(sample_g) / 100.0 for k, v in shares.items()}


def closes(sieved_g: float, taken_g: float) -> None:
    """Refuse a sieving that lost or gained more than 2 %."""
    if abs(sieved_g - taken_g) > CLOSURE * taken_g:
        raise RangeError(
            say(
                "the screens hold {sieved_g:g} g of {taken_g:g} g: more than 2 % off.",
                sieved_g=sieved_g,
                taken_g=taken_g,
            ),
            "screens_g",
            "Weigh every screen and the pan again.",
        )


def parse_sheet(text: str, where: str = "sheet") -> Sheet:
    """Read a sheet from TOML text."""
    try:
        found = Sheet.model_validate(tomllib.loads(text))
    except (ValueError, RecursionError) as error:  # bad TOML, endless digits, a bomb of brackets
        raise InputError(say("is not valid TOML: {error}.", error=error), where) from error
    except ValidationError as error:
        first = error.errors()[0]
        spot = ".".join(str(p) for p in first["loc"])
        words = f"{spot} is {first.get('input')!r}: {first['msg']}." if spot else f"{first['msg']}."
        raise InputError(words, where) from error
    found.check()
    return found


def load_sheet(path: Path) -> Sheet:
    """Read a sheet from a file."""
    try:
        text = path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise InputError("is not UTF-8 text.", path.name, "Save it as UTF-8.") from error
    except OSError as error:
        raise InputError(say("cannot be read ({strerror}).", strerror=error.strerror), str(path)) from error
    return parse_sheet(text, path.name)
