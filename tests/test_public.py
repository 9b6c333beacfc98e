"""The public face: its page's examples run outside the repository, and it is what it says it is."""

from __future__ import annotations

import doctest
import importlib
import inspect
import re
import subprocess
import sys
from datetime import datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest

import drydown
from tests.test_docstrings import physical_functions

ZONE = timezone(timedelta(hours=3))
ROOT = Path(__file__).resolve().parent.parent


def test_the_page_s_examples_run_from_a_folder_of_their_own(tmp_path: Path) -> None:
    page = (ROOT / "docs" / "python.md").read_text(encoding="utf-8")
    code = "\n".join(re.findall(r"```python\n(.*?)```", page, re.S))
    file = tmp_path / "examples.py"
    file.write_text(code, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-I", str(file)], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    said = done.stdout.splitlines()
    assert said[0] == "1 480 (1, 480)"
    assert "few; 3 lots and 8 readings are needed" in done.stdout


def test_every_public_name_is_on_the_page_and_typed() -> None:
    from drydown import public

    page = (ROOT / "docs" / "python.md").read_text(encoding="utf-8")
    assert set(drydown.__all__) == {*public.__all__, "__version__"}
    for name in drydown.__all__:
        assert f"`{name}`" in page, name
        found = getattr(drydown, name)
        if inspect.isfunction(found):
            assert inspect.getdoc(found), name
            hints = inspect.signature(found)
            assert hints.return_annotation is not inspect.Signature.empty, name
            assert all(p.annotation is not inspect.Parameter.empty for p in hints.parameters.values()), name
    with pytest.raises(AttributeError, match="books"):
        drydown.__getattr__("books")


def test_importing_it_is_light() -> None:
    code = (
        "import sys, drydown; heavy = ('numpy', 'scipy', 'numba', 'django', 'pvlib', 'pandas', 'pydantic');"
        "print([m for m in heavy if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_named_arrays_go_to_xarray_and_pandas() -> None:
    coords = {"member": np.arange(2), "hour": np.array([0, 6, 12])}
    named = drydown.Named("x", np.arange(6.0).reshape(2, 3), ("member", "hour"), coords, "kg", "a mass")
    assert named.sel(hour=6).values.tolist() == [1.0, 4.0]
    assert float(np.asarray(named).sum()) == 15.0
    array = named.to_xarray()
    assert array.sel(member=1, hour=12).item() == 5.0
    assert array.attrs == {"units": "kg", "long_name": "a mass"}
    assert named.to_pandas().loc[1, 6] == 4.0
    frame = drydown.NamedSet({"x": named, "y": named}).to_pandas()
    assert frame.loc[(0, 12), "y"] == 2.0
    for wrong in ({"day": 1}, {"hour": 7}):
        with pytest.raises(drydown.InputError):
            named.sel(**wrong)
    with pytest.raises(drydown.InputError, match="shape"):
        drydown.Named("x", np.zeros(3), ("member",), {"member": np.arange(2)})


def test_balance_and_dry_by_hand() -> None:
    # Dry matter of the fruit, by the sources of species.toml: 0.4358 (1 - 0.768) + 0.1485 (1 - 0.88)
    # + 0.4157 (1 - 0.53) = 0.3143 of its mass.
    made = drydown.balance("arabica", "natural", cherry_kg=1000.0)
    assert float(made.streams["dry_matter"].values.sum()) == pytest.approx(314.3, abs=0.1)
    # Parchment that loses 47.19 % of its mass has gone from 53 to 11 % (Oliveros et al. 2010: 47.3 %).
    weather = drydown.make_weather(drydown.example_station(), datetime(2026, 5, 4, 8, tzinfo=ZONE), 25)
    run = drydown.dry(weather, load_kg_m2=12.0)
    x = run.columns["moisture_db"].values[0]
    hour = int(np.ceil(run.done_h.values[0]))
    assert 1.0 - (1.0 + x[hour]) / (1.0 + x[0]) == pytest.approx(0.4719, abs=0.004)
    assert set(run.columns) == set(drydown.public.UNITS)


@pytest.mark.parametrize(
    ("name", "function"), physical_functions(), ids=[n for n, _f in physical_functions()]
)
def test_every_physical_function_has_an_example_that_is_true(name: str, function: object) -> None:
    module = importlib.import_module(name.rpartition(".")[0])
    finder = doctest.DocTestFinder(recurse=False)
    found = finder.find(function, name, module=module, globs=vars(module) | {"np": np})
    examples = [t for t in found if t.examples]
    assert examples, f"{name} has no example"
    for test in examples:
        result = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS).run(test)
        assert result.failed == 0, name
