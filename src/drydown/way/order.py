"""Which step may follow which, by route and stage; and all the steps there are."""

from __future__ import annotations

import importlib.util
import pkgutil
import sys
from collections.abc import Iterable
from functools import lru_cache
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import Any

import drydown.way as room
from drydown.errors import InputError
from drydown.tables import added_files, table
from drydown.way.keep import TOO_WET
from drydown.way.state import Placed, Stage
from drydown.way.step import Standing, Step
from drydown.words import say

__all__ = ["may_follow", "next_steps", "stage", "stages", "step", "steps"]

_FIRST = Standing(Stage.GATHERING, "gathering at the gate", waits=True)
_LAST = Standing(Stage.GONE, "gone: sold, split or joined")


def _order() -> dict[str, Any]:
    return table("drydown.way", "order.toml")


def steps() -> dict[str, Step]:
    """All steps by kind, in the order the routes name them."""
    return _steps(tuple(added_files("steps", ".py")))


@lru_cache(maxsize=8)
def _steps(added: tuple[Path, ...]) -> dict[str, Step]:
    names = [f"{room.__name__}.{m.name}" for m in pkgutil.iter_modules(room.__path__)]
    modules = [*(import_module(n) for n in names), *(_added(path) for path in added)]
    found = {s.kind: s for m in modules for s in getattr(m, "STEPS", ()) if m.__name__ != __name__}
    named = [k for k in dict.fromkeys(_kinds(_order())) if k in found]
    return {kind: found[kind] for kind in (*named, *(k for k in found if k not in named))}


def _added(path: Path) -> ModuleType:
    """A step's file from the folder of added rows."""
    name = f"drydown_added_{path.stem}"
    spec = importlib.util.spec_from_file_location(name, path)
    if spec is None or spec.loader is None:
        raise InputError(say("is not a Python file."), str(path))
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


def _kinds(order: dict[str, Any]) -> Iterable[str]:
    for way in (*order["route"].values(), order["later"]):
        for kinds in way.values():
            yield from kinds


def step(kind: str) -> Step:
    """A step by its kind; refuse what is none."""
    found = steps().get(kind)
    if found is None:
        raise InputError(say("'{kind}' is not a step.", kind=kind), "step")
    return found


def stages() -> dict[str, Standing]:
    """All stages by name, in the order lots come to them."""
    found = {_FIRST.name: _FIRST}
    found |= {s.leads_to.name: s.leads_to for s in steps().values() if s.leads_to is not None}
    return found | {_LAST.name: _LAST}


def stage(name: str) -> Standing:
    """A stage by name; one that no step leads to any more is shown by its name."""
    return stages().get(name) or Standing(name, name)


def may_follow(route: str, at: str) -> tuple[str, ...]:
    """Kinds of the steps that may follow at a stage of a route, the usual one first."""
    order = _order()
    found = order["route"].get(route, {}).get(at) or order["later"].get(at, ())
    return tuple(found)


def next_steps(lot: Placed, target_wb: float | None = None) -> list[Step]:
    """Steps a lot can take from where it stands, the usual one first; empty when its way ends here.

    A drying lot is bagged first only when it was read at or below `target_wb` (fraction wet basis);
    a stored one that is above the rule goes back on a bed first.
    """
    kinds, known = may_follow(lot.route, lot.stage), lot.known_wb
    if lot.stage == Stage.DRYING and known is not None and target_wb is not None and known <= target_wb:
        kinds = _first("bag", kinds)
    if lot.stage == Stage.STORED and known is not None and known > TOO_WET:
        kinds = _first("respread", kinds)  # it can grow mould in the bag
    return [step(kind) for kind in kinds]


def _first(kind: str, kinds: tuple[str, ...]) -> tuple[str, ...]:
    return (kind, *(k for k in kinds if k != kind)) if kind in kinds else kinds
