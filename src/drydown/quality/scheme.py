"""Grading schemes as data: what a defect counts, which limits make a grade, where that is said.

Four kinds of system share one engine: equivalents per sample mass, percent by mass, counts per
kilogram, and mixed ones. A scheme is a TOML file; a user's own contract is another such file.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from fractions import Fraction
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, model_validator

from drydown.errors import InputError
from drydown.figures import Source, Status
from drydown.tables import added_files
from drydown.words import say

__all__ = ["Defect", "Grade", "Option", "Scheme", "read_scheme", "scheme", "scheme_names"]


def _fraction(value: Any) -> Fraction:
    try:
        return Fraction(str(value))
    except (ValueError, ZeroDivisionError) as error:
        raise ValueError(say("'{value}' is not a number or a fraction such as 1/5", value=value)) from error


Weight = Annotated[Fraction, BeforeValidator(_fraction), Field(ge=0)]
Share = Annotated[float, Field(ge=0, le=100)]


class Part(BaseModel):
    """Unknown keys are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


class Sourced(Part):
    """Something with its source."""

    source: str = ""
    status: Status = Status.PUBLISHED

    def where(self, otherwise: str) -> Source:
        """The source, or that of the whole scheme."""
        return Source(self.source or otherwise, self.status)


class Defect(Sourced):
    """A class of defect. `counts` is what one piece adds to the total (1/5: five make one).

    `formerly`: codes it was recorded under by earlier editions of the scheme's file; they keep opening.
    """

    formerly: tuple[str, ...] = ()
    code: Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$")]
    words: str
    counts: Weight = Fraction(0)
    group: str = ""


class Grade(Sourced):
    """A grade and all that a sample must keep to, for it.

    `total` is the most full defects in the sample; `full` limits the full defects of a class (after
    the equivalents), `counts` its pieces, `group_total` the full defects of a group; screens are
    percent of mass. `when` names the choices of options (such as an edition) that the grade is of.
    """

    name: str
    total: Weight | None = None
    over: Weight | None = None
    per_kg: Weight | None = None
    counts: dict[str, Weight] = {}
    full: dict[str, Weight] = {}
    when: dict[str, str] = {}
    group_total: dict[str, Weight] = {}
    mass_percent: dict[str, Share] = {}
    defect_mass_percent: Share | None = None
    moisture_percent: tuple[float, float] | None = None
    retained: dict[str, Share] = {}
    passing: dict[str, Share] = {}
    quakers: int | None = None
    price_note: str = ""
    apart: bool = False
    """A kind of its own, such as peaberries, neither better nor poorer than the others."""
    species: tuple[str, ...] = ()


class Option(Sourced):
    """A point on which sources differ: named choices, each changing some counts."""

    name: str
    choices: dict[str, dict[str, Weight]]
    default: str

    @model_validator(mode="after")
    def _known(self) -> Self:
        if self.default not in self.choices:
            raise ValueError(
                say(
                    "option {name}: default '{default}' is not a choice", name=self.name, default=self.default
                )
            )
        return self


class Scheme(Sourced):
    """A whole scheme; grades stand best first."""

    name: str
    formerly: tuple[str, ...] = ()
    """Names it had before; they keep opening what was recorded under them."""
    words: str
    kind: Literal["equivalents", "mass", "per_kg", "mixed"]
    sample_g: Annotated[float, Field(gt=0)] | None = None
    screens_table: str = "inch64"
    """Whose numbers its screens are."""
    species: tuple[str, ...] = ()
    rounding: Literal["none", "truncate each", "truncate total", "next class"] = "none"
    rounding_note: str = ""
    gravest_first: tuple[str, ...] = ()
    defects: tuple[Defect, ...] = ()
    options: tuple[Option, ...] = ()
    grades: Annotated[tuple[Grade, ...], Field(min_length=1)]
    below: str = "outside the scheme"
    moisture_most: Annotated[float, Field(gt=0, le=60)] | None = None
    """A general condition of the text beside its grades, % m/m: told beside the grade."""
    notes: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _fits(self) -> Self:
        codes = [d.code for d in self.defects]
        if len(set(codes)) < len(codes):
            raise ValueError("a defect stands twice")
        groups = {d.group for d in self.defects} - {""}
        for grade in self.grades:
            odd = (set(grade.counts) | set(grade.full)) - set(codes)
            odd |= set(grade.group_total) - groups
            odd |= set(grade.mass_percent) - set(codes) - groups
            if odd:
                raise ValueError(
                    say(
                        "grade {name} limits '{value}', which is no defect or group",
                        name=grade.name,
                        value=sorted(odd)[0],
                    )
                )
            _known_choices(grade, self.options)
        for option in self.options:
            odd = {code for choice in option.choices.values() for code in choice} - set(codes)
            if odd:
                raise ValueError(
                    say(
                        "option {name} changes '{value}', which is no defect",
                        name=option.name,
                        value=sorted(odd)[0],
                    )
                )
        return self

    def code_now(self, code: str) -> str:
        """The code of today for one that may be of an earlier edition; unknown ones stay as they are."""
        return next((d.code for d in self.defects if code in d.formerly), code)

    def grades_for(self, chosen: Mapping[str, str]) -> tuple[Grade, ...]:
        """The grades that belong to the options chosen, best first."""
        return tuple(g for g in self.grades if all(chosen.get(k) == v for k, v in g.when.items()))

    def defect(self, code: str) -> Defect:
        """A defect by its code, or by one it had before; unknown codes are refused with the list."""
        found = next((d for d in self.defects if code in (d.code, *d.formerly)), None)
        if found is None:
            known = ", ".join(d.code for d in self.defects)
            raise InputError(
                say("'{code}' is not a defect of {name}.", code=code, name=self.name),
                "sample",
                say("It has: {known}.", known=known),
            )
        return found

    def weights(self, chosen: dict[str, str] | None = None) -> dict[str, Fraction]:
        """What one piece of each defect counts, with the options chosen."""
        found = {d.code: d.counts for d in self.defects}
        picks = dict(chosen or {})
        for option in self.options:
            pick = picks.pop(option.name, option.default)
            if pick not in option.choices:
                raise InputError(
                    say("'{pick}' is not a choice of {name}.", pick=pick, name=option.name),
                    self.name,
                    say("One of {choices}.", choices=", ".join(option.choices)),
                )
            found |= option.choices[pick]
        if picks:
            raise InputError(say("has no option '{next}'.", next=next(iter(picks))), self.name)
        return found


def _known_choices(grade: Grade, options: tuple[Option, ...]) -> None:
    """Refuse a grade of a choice that no option offers."""
    for name, choice in grade.when.items():
        if not any(o.name == name and choice in o.choices for o in options):
            raise ValueError(
                say(
                    "grade {name} is of {name_2} '{choice}', which no option offers",
                    name=grade.name,
                    name_2=name,
                    choice=choice,
                )
            )


def read_scheme(text: str, where: str) -> Scheme:
    """Read a scheme from TOML text; a mistake is one sentence with its place."""
    try:
        return Scheme.model_validate(tomllib.loads(text))
    except (ValueError, RecursionError) as error:  # bad TOML, endless digits, a bomb of brackets
        raise InputError(say("is not valid TOML: {error}.", error=error), where) from error
    except ValidationError as error:
        first = error.errors()[0]
        spot = ".".join(str(p + 1) if isinstance(p, int) else str(p) for p in first["loc"])
        raise InputError(f"{spot or 'scheme'}: {first['msg']}.", where) from error


def _packaged() -> dict[str, Scheme]:
    return _read_all(tuple(added_files("schemes", ".toml")))


@cache
def _read_all(added: tuple[Path, ...]) -> dict[str, Scheme]:
    folder = files("drydown.quality") / "schemes"
    own = sorted((f for f in folder.iterdir() if f.name.endswith(".toml")), key=lambda f: f.name)
    made = [read_scheme(f.read_text(encoding="utf-8"), f.name) for f in (*own, *added)]
    return {one.name: one for one in made}


def scheme_names() -> list[str]:
    """Names of the schemes that come with Drydown."""
    return list(_packaged())


def scheme(name: str) -> Scheme:
    """A packaged scheme by name, or a user's own by the path of its file (ends with .toml)."""
    if name.endswith(".toml"):
        try:
            return read_scheme(Path(name).read_text(encoding="utf-8"), name)
        except (OSError, UnicodeDecodeError) as error:
            raise InputError(say("cannot be read ({error}).", error=error), name) from error
    found = _packaged().get(name) or next((s for s in _packaged().values() if name in s.formerly), None)
    if found is None:
        raise InputError(
            say("scheme '{name}' is not known.", name=name),
            fix=say("One of: {packaged}.", packaged=", ".join(_packaged())),
        )
    return found
