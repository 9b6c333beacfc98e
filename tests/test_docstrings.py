"""Every public physical function says what it takes and gives, where it holds, and its source."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
from pathlib import Path
from types import ModuleType

import pytest

import drydown
from drydown import air, matter, steps

PHYSICAL = [matter, air, steps]
NOT_PHYSICAL = {
    "drydown.air.csvfile", "drydown.air.epw", "drydown.matter.species", "drydown.matter.practice",
    "drydown.matter.report", "drydown.matter.routes", "drydown.steps.dry.data", "drydown.steps.dry.routine",
    "drydown.steps.dry.compiled", "drydown.steps.dry.inputs", "drydown.steps.dry", "drydown.steps.dry.fuel",
}  # fmt: skip
WORDS_ONLY = {"fit_note", "require_fitted", "typical_parameters", "column"}


def modules(package: ModuleType) -> list[ModuleType]:
    """All modules of a package."""
    names = [m.name for m in pkgutil.walk_packages(package.__path__, package.__name__ + ".")]
    return [importlib.import_module(n) for n in names]


def physical_functions() -> list[tuple[str, object]]:
    """Public functions of the physical rooms, by their `__all__`."""
    found: list[tuple[str, object]] = []
    for package in PHYSICAL:
        for module in modules(package):
            if module.__name__ in NOT_PHYSICAL:
                continue
            for name in getattr(module, "__all__", []):
                thing = getattr(module, name)
                if inspect.isfunction(thing) and name not in WORDS_ONLY:
                    found.append((f"{module.__name__}.{name}", thing))
    return found


@pytest.mark.parametrize(
    ("name", "function"), physical_functions(), ids=[n for n, _f in physical_functions()]
)
def test_unit_range_and_source(name: str, function: object) -> None:
    text = inspect.getdoc(function) or ""
    assert re.search(r"Args:|Equation:", text), f"{name} does not say what it takes"
    assert "Returns:" in text, f"{name} does not say what it gives"
    assert "Valid range:" in text, f"{name} has no range"
    assert "Source:" in text, f"{name} has no source"
    assert re.search(r"\[[^\]]+\]|`Balance`|`BalanceReport`|`HourlyWeather`|`DryingRun`", text), (
        f"{name}: no unit"
    )


def test_there_are_enough_of_them() -> None:
    assert len(physical_functions()) >= 40


def test_public_names_exist(data_folder: Path) -> None:
    for module in modules(drydown):
        if "migrations" in module.__name__ or not hasattr(module, "__all__"):
            continue
        names = module.__all__
        assert len(set(names)) == len(names), f"{module.__name__}: a name stands twice in __all__"
        for name in names:
            assert hasattr(module, name), f"{module.__name__} lacks {name}"


def test_functions_and_files_are_short() -> None:
    import ast

    lengths = []
    for file in Path(drydown.__file__).parent.rglob("*.py"):
        if "migrations" in str(file):
            continue
        text = file.read_text(encoding="utf-8")
        assert text.count("\n") <= 400, f"{file.name} is over 400 lines"
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.FunctionDef):
                body = [
                    s
                    for s in node.body
                    if not (isinstance(s, ast.Expr) and isinstance(s.value, ast.Constant))
                ]
                lengths.append(body[-1].end_lineno - body[0].lineno + 1 if body else 0)  # type: ignore[operator]
    lengths.sort()
    assert lengths[len(lengths) // 2] <= 8
    assert lengths[int(0.95 * len(lengths))] <= 40
