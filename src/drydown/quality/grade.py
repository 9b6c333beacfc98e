"""Grade a sheet by a scheme: the total, every limit that was met or missed, and the best grade."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from drydown.errors import InputError
from drydown.figures import Source
from drydown.quality.sample import Sheet
from drydown.quality.scheme import Grade, Scheme
from drydown.quality.screens import renumbered, retained_bounds
from drydown.words import say

__all__ = [
    "NO_GRADE",
    "OR_BETTER",
    "Limit",
    "Tried",
    "Verdict",
    "full_defects",
    "grade_sheet",
    "named",
    "tried",
]


NO_GRADE = "no grade yet: the sheet lacks answers"
OR_BETTER = " or better"


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit of one grade: what was found, what is allowed, whether it is kept."""

    words: str
    found: str
    allowed: str
    kept: bool | None
    """None: the sheet does not say."""


@dataclass(frozen=True, slots=True)
class Tried:
    """A grade with all its limits."""

    grade: Grade
    limits: tuple[Limit, ...]

    @property
    def passed(self) -> bool:
        """All limits kept that the sheet can answer, and none open."""
        return all(limit.kept is True for limit in self.limits)

    @property
    def failed(self) -> tuple[Limit, ...]:
        """Limits that were missed."""
        return tuple(limit for limit in self.limits if limit.kept is False)

    @property
    def open(self) -> tuple[Limit, ...]:
        """Limits that the sheet does not answer."""
        return tuple(limit for limit in self.limits if limit.kept is None)


def named(grade: Grade, better_open: bool) -> str:
    """A grade's name, saying so where a better one is not ruled out."""
    return grade.name.strip() + (OR_BETTER if better_open else "")


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a scheme says of a sheet."""

    scheme: Scheme
    sheet: Sheet
    total: Fraction
    counted: Mapping[str, Fraction]
    tried: tuple[Tried, ...]
    options: Mapping[str, str]
    factor: Fraction = Fraction(1)
    """Scheme's sample mass over the sheet's."""

    @property
    def scaled(self) -> str:
        """What was counted against what the scheme counts, where they differ; empty where they do not."""
        if self.factor == 1:
            return ""
        cut = (
            " each class cut to whole full defects first," if self.scheme.rounding == "truncate each" else ""
        )
        return say(
            "counted in {sample_g:g} g,{cut} then brought to {sample_g_2:g} g",
            sample_g=self.sheet.sample_g,
            cut=cut,
            sample_g_2=self.scheme.sample_g,
        )

    @property
    def best(self) -> Tried | None:
        """The best grade whose limits are all kept."""
        return next((t for t in self.tried if t.passed), None)

    @property
    def possible(self) -> tuple[Tried, ...]:
        """Better grades that only miss an answer of the sheet."""
        found = []
        for one in self.tried:
            if one.passed:
                break
            if not one.failed:
                found.append(one)
        return tuple(found)

    @property
    def words(self) -> str:
        """The grade; "or better" where a better one stays open; none yet where too little is said."""
        if self.best is None:
            return NO_GRADE if self.possible else self.scheme.below
        return named(self.best.grade, bool(self.possible) and not self.best.grade.apart)

    @property
    def price_note(self) -> str:
        """What the scheme adds to or takes off the price at this grade; empty where it says nothing."""
        return self.best.grade.price_note if self.best else ""

    @property
    def condition(self) -> Limit | None:
        """The scheme's general limit of moisture, where its text has one beside the grades."""
        most = self.scheme.moisture_most
        if most is None:
            return None
        found = self.sheet.moisture_percent
        return _at_most("general condition: moisture, % m/m", found, most)

    @property
    def headline(self) -> str:
        """The grade with its step of price, and with a general condition that is missed."""
        text = f"{self.words} ({self.price_note})" if self.price_note else self.words
        general = self.condition
        if general is not None and general.kept is False:
            text += say(
                "; outside the scheme's general condition: moisture {found} %, {allowed}",
                found=general.found,
                allowed=general.allowed,
            )
        if general is not None and general.kept is None and self.best is not None:
            text += say(
                "; its general condition is open: no moisture on the sheet, {allowed} %",
                allowed=general.allowed,
            )
        return text

    def sources(self) -> tuple[Source, ...]:
        """Sources of the scheme and of the rows that decided."""
        found = [Source(self.scheme.source, self.scheme.status)]
        used = [
            self.scheme.defect(code) for code, n in self.sheet.counts.items() if n and code in self.counted
        ]
        found += [d.where(self.scheme.source) for d in used]
        if self.best:
            found.append(self.best.grade.where(self.scheme.source))
        return tuple(dict.fromkeys(found))


def full_defects(
    scheme: Scheme, counts: Mapping[str, int], factor: Fraction, weights: Mapping[str, Fraction]
) -> dict[str, Fraction]:
    """Full defects by class, in the scheme's sample mass.

    `factor` brings the sheet's mass to the scheme's (1 for the same). With "truncate each" only
    whole full defects of each class count: cut as they were found, so that none vanishes by the factor.
    """
    found = {}
    for code, n in counts.items():
        value = n * weights[scheme.defect(code).code]
        found[code] = factor * (Fraction(int(value)) if scheme.rounding == "truncate each" else value)
    return found


def _factor(scheme: Scheme, sheet: Sheet) -> Fraction:
    """Scheme's sample mass over the sheet's; refused far off, because limits do not scale freely."""
    if scheme.sample_g is None or not sheet.counts:
        return Fraction(1)
    ratio = Fraction(str(scheme.sample_g)) / Fraction(str(sheet.sample_g))
    if abs(float(ratio) - 1.0) <= 0.005:
        return Fraction(1)
    if not 0.5 <= float(ratio) <= 2.0:
        raise InputError(
            say(
                "{sample_g:g} g were counted; {name} counts {sample_g_2:g} g.",
                sample_g=sheet.sample_g,
                name=scheme.name,
                sample_g_2=scheme.sample_g,
            ),
            "sample",
            "Count a sample of that mass.",
        )
    return ratio


def _text(value: Fraction | float) -> str:
    return f"{round(float(value), 3):g}"


def _at_most(words: str, found: Fraction | float | None, most: Fraction | float) -> Limit:
    if found is None:
        return Limit(words, "not on the sheet", say("at most {text}", text=_text(most)), None)
    return Limit(words, _text(found), say("at most {text}", text=_text(most)), found <= most)


def _group(scheme: Scheme, name: str) -> list[str]:
    codes = [d.code for d in scheme.defects if d.group == name]
    return codes or [name]


def _counting(
    scheme: Scheme, grade: Grade, sheet: Sheet, counted: Mapping[str, Fraction], total: Fraction
) -> list[Limit]:
    """Limits on pieces and full defects."""
    has = bool(sheet.counts) or sheet.rest_none or None
    found = []
    if grade.total is not None:
        found.append(_at_most("full defects in all", total if has else None, grade.total))
    if grade.per_kg is not None:
        per_kg = total * 1000 / Fraction(str(sheet.sample_g)) if has else None
        found.append(_at_most("defects per kg", per_kg, grade.per_kg))
    for code, most in grade.counts.items():
        n = Fraction(sheet.counts.get(code, 0)) if has else None
        found.append(_at_most(f"{scheme.defect(code).words}, pieces", n, most))
    for code, most in grade.full.items():
        part = counted.get(code, Fraction(0)) if has else None
        found.append(_at_most(say("{words}, full defects", words=scheme.defect(code).words), part, most))
    for name, most in grade.group_total.items():
        part = sum((counted.get(c, Fraction(0)) for c in _group(scheme, name)), Fraction(0)) if has else None
        found.append(_at_most(say("{name} full defects", name=name), part, most))
    return found


def _weighing(scheme: Scheme, grade: Grade, sheet: Sheet) -> list[Limit]:
    """Limits on mass."""
    found = []
    for name, most in grade.mass_percent.items():
        codes = _group(scheme, name)
        known = sheet.rest_none or any(c in sheet.masses_g for c in [*codes, name])
        mass = sum(sheet.masses_g.get(c, 0.0) for c in {*codes, name})
        label = next((d.words for d in scheme.defects if d.code == name), name)
        found.append(_at_most(f"{label}, % m/m", 100 * mass / sheet.sample_g if known else None, most))
    if grade.defect_mass_percent is not None:
        mass = sum(sheet.masses_g.values())
        share = 100 * mass / sheet.sample_g if sheet.masses_g or sheet.rest_none else None
        found.append(_at_most("defective beans, % m/m", share, grade.defect_mass_percent))
    return found


def _sieving(grade: Grade, sheet: Sheet) -> list[Limit]:
    """Limits on size."""
    found = []
    for number, least in grade.retained.items():
        low, high = retained_bounds(sheet.screens_g, number)
        kept = True if low >= least else False if high < least else None
        words = say("on screen {number} and above, % m/m", number=number)
        found.append(Limit(words, _between(low, high), say("at least {least:g}", least=least), kept))
    for number, most in grade.passing.items():
        low, high = (100.0 - bound for bound in reversed(retained_bounds(sheet.screens_g, number)))
        kept = True if high <= most else False if low > most else None
        words = say("through screen {number}, % m/m", number=number)
        found.append(Limit(words, _between(low, high), say("at most {most:g}", most=most), kept))
    return found


def _between(low: float, high: float) -> str:
    """A share that is known, or known between its neighbours in the stack."""
    if low == high:
        return _text(low)
    if (low, high) == (0.0, 100.0):
        return "not on the sheet"
    return say("between {text} and {text_2} (screen not in the stack)", text=_text(low), text_2=_text(high))


def _moisture(grade: Grade, sheet: Sheet) -> list[Limit]:
    found = []
    if grade.moisture_percent is not None:
        low, high = grade.moisture_percent
        m = sheet.moisture_percent
        kept = None if m is None else low <= m <= high
        said = "not on the sheet" if m is None else _text(m)
        found.append(Limit("moisture, % m/m", said, f"{low:g} to {high:g}", kept))
    if grade.quakers is not None:
        n = None if sheet.quakers is None else Fraction(sheet.quakers)
        found.append(_at_most("quakers", n, Fraction(grade.quakers)))
    return found


def tried(
    scheme: Scheme, grade: Grade, sheet: Sheet, counted: Mapping[str, Fraction], total: Fraction
) -> Tried:
    """One grade against the sheet."""
    limits = _counting(scheme, grade, sheet, counted, total) + _weighing(scheme, grade, sheet)
    return Tried(grade, tuple(limits + _sieving(grade, sheet) + _moisture(grade, sheet)))


def _coded_now(sheet: Sheet, scheme: Scheme) -> Sheet:
    """The sheet under the scheme's codes of today: what was counted under earlier ones keeps counting."""
    counts: dict[str, int] = {}
    for code, n in sheet.counts.items():
        counts[scheme.code_now(code)] = counts.get(scheme.code_now(code), 0) + n
    masses: dict[str, float] = {}
    for code, grams in sheet.masses_g.items():
        masses[scheme.code_now(code)] = masses.get(scheme.code_now(code), 0.0) + grams
    bags = tuple({scheme.code_now(c): n for c, n in bag.items()} for bag in sheet.bags)
    return sheet.model_copy(update={"counts": counts, "masses_g": masses, "bags": bags})


def grade_sheet(sheet: Sheet, scheme: Scheme, options: Mapping[str, str] | None = None) -> Verdict:
    """Grade a sheet by a scheme.

    Args: sheet; scheme; options, by name, where sources of the scheme differ.
    Returns: `Verdict` with every grade tried, best first.
    Raises `InputError` for a defect the scheme does not have, another species, or another sample.
    """
    sheet.check()
    if sheet.screens_g and sheet.screens_table:
        sieved = renumbered(sheet.screens_g, sheet.screens_table, scheme.screens_table)
        sheet = sheet.model_copy(update={"screens_g": sieved, "screens_table": scheme.screens_table})
    if scheme.species and sheet.species and sheet.species not in scheme.species:
        raise InputError(
            say("{name} is for {species}.", name=scheme.name, species=", ".join(scheme.species)),
            say("species {species}", species=sheet.species),
        )
    chosen = {o.name: dict(options or {}).get(o.name, o.default) for o in scheme.options}
    offered = scheme.grades_for(chosen)
    grades = [g for g in offered if not g.species or not sheet.species or sheet.species in g.species]
    if any(g.species for g in offered) and not sheet.species:
        raise InputError(
            say("{name} differs by species.", name=scheme.name), "species", "Write it on the sheet."
        )
    weights = scheme.weights(dict(options or {}))
    sheet = _coded_now(sheet, scheme)
    for code in sheet.masses_g:
        if code not in {d.group for d in scheme.defects}:
            scheme.defect(code)
    factor = _factor(scheme, sheet)
    counted = full_defects(scheme, sheet.counts, factor, weights)
    total = sum(counted.values(), Fraction(0))
    if scheme.rounding == "truncate total":
        total = Fraction(int(total / factor)) * factor
    tries = tuple(tried(scheme, g, sheet, counted, total) for g in grades)
    return Verdict(scheme, sheet, total, counted, tries, chosen, factor)
