"""Write docs/commands.md, docs/nomenclature.md and docs/cautions.md from the code.

Usage: python tools/make_docs.py [--check]
"""

from __future__ import annotations

import inspect
import os
import sys
import tempfile
import tomllib
from pathlib import Path
from typing import Any

import typer
from typer.main import get_command

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))


def commands() -> str:
    """Help of every command, as Markdown."""
    from drydown.cli import app  # noqa: PLC0415

    lines = ["# Commands", "", "Written from the code by `make docs`.", ""]
    lines += _command(get_command(app), "drydown")
    return "\n".join(lines).rstrip() + "\n"


def _command(command: object, name: str) -> list[str]:
    children = getattr(command, "commands", None)
    text = str(getattr(command, "help", "") or "").strip()
    lines = [f"## `{name}`", "", text, ""]
    if children:
        for key in sorted(children):
            lines += _command(children[key], f"{name} {key}")
        return lines
    rows = [p for p in getattr(command, "params", []) if p.name != "help"]
    if rows:
        lines += ["| option | | default |", "|---|---|---|"]
        lines += [f"| `{p.opts[0]}` | {getattr(p, 'help', '') or ''} | {_default(p)} |" for p in rows]
        lines.append("")
    return lines


def _default(parameter: object) -> str:
    if getattr(parameter, "required", False):
        return "needed"
    value = getattr(parameter, "default", None)
    return "" if value is None or value is False else f"`{value}`"


def nomenclature() -> str:
    """Every public physical name with its first line, units and source."""
    from tests.test_docstrings import physical_functions  # noqa: PLC0415

    from drydown.air.series import RANGES  # noqa: PLC0415
    from drydown.steps.dry.lanes import OUT_COLUMNS  # noqa: PLC0415
    from drydown.way.order import steps  # noqa: PLC0415

    lines = ["# Nomenclature", "", "Written from the code by `make docs`.", "", *WORDS, ""]
    lines += ["## Words on the pages", "", "One word for one thing; the pages are held to it.", ""]
    lines += ["| say | for | never |", "|---|---|---|"]
    lines += [f"| {r['say']} | {r['means']} | {', '.join(r['never'])} |" for r in page_words()]
    lines += ["", "## Steps of a lot", "", "| button | in the lot's way |", "|---|---|"]
    lines += [f"| {row.words} | {row.past} |" for row in steps().values()]
    lines += ["", "## Weather columns", "", "| name | range |", "|---|---|"]
    lines += [f"| `{k}` | {low:g} to {high:g} {unit} |" for k, (low, high, unit) in RANGES.items()]
    lines += ["", "## Columns of a drying run", "", ", ".join(f"`{c}`" for c in OUT_COLUMNS), ""]
    lines += ["## Functions", "", "| name | what | takes and gives |", "|---|---|---|"]
    for name, function in physical_functions():
        text = inspect.getdoc(function) or ""
        first = text.splitlines()[0]
        lines.append(f"| `{name.removeprefix('drydown.')}` | {first} | {_args(text)} |")
    return "\n".join(lines) + "\n"


def page_words() -> list[dict[str, Any]]:
    """The words the pages use, what for, and which words they never use for it."""
    rows: list[dict[str, Any]] = tomllib.loads((ROOT / "tools/page_words.toml").read_text("utf-8"))["word"]
    return rows


def cautions() -> str:
    """Every caution, where it is printed, and where it comes from."""
    from drydown.outlook.cautions import FIRST, table_rows  # noqa: PLC0415
    from drydown.way.order import steps  # noqa: PLC0415

    lines = [
        "# Cautions",
        "",
        "Written from `outlook/cautions.toml` and the steps in `way/` by `make docs`.",
        "",
        f"**{FIRST}** ",
    ]
    lines[-1] += (
        "These are the usual cautions; they do not replace the law, the label on a product, or people who "
        "are licensed for the work. Limits set by law change: ask where you are."
    )
    lines += ["", "| about | caution | printed at | source |", "|---|---|---|---|"]
    for _name, row, where in table_rows({kind: row.hurts for kind, row in steps().items()}):
        said = f"{row.source.text} ({row.source.status})"
        if row.source.text.startswith(row.source.status):
            said = row.source.text
        lines.append(f"| {row.about} | {row.text} | {', '.join(where)} | {said} |")
    lines += ["", "Drydown prints which rule a lot is inside of, by name. A forecast is not a test."]
    return "\n".join(lines) + "\n"


WORDS = [
    "| symbol or ending | meaning | unit |",
    "|---|---|---|",
    "| `moisture_wb`, w | water per whole | kg/kg (fraction) |",
    "| `moisture_db`, X, M | water per dry matter | kg/kg; M in % in printed equations |",
    "| `aw`, `erh` | water activity, equilibrium relative humidity | fraction |",
    "| `rh`, h | relative humidity of air | fraction |",
    "| `_c` | temperature | degrees Celsius |",
    "| `_kg`, `_g`, `_l`, `_m2`, `_h` | mass, mass, volume, area, hours | |",
    "| D40, Ea | moisture diffusivity at 40 C, its activation energy | m2/s, J/mol |",
    "| ghi | sun on level ground | W/m2 |",
    "| P10, P50, P90 | one future in ten, five in ten, nine in ten is below | |",
    "| dm | dry matter | kg |",
    "| COD | chemical oxygen demand | kg |",
]


def _args(text: str) -> str:
    flat = " ".join(text.split())
    begin, end = flat.find("Args:"), flat.find("Valid range:")
    return flat[begin:end].strip().replace("|", "\\|") if begin >= 0 else ""


def _books() -> None:
    """Set the books up on a throw-away folder: their steps are listed too."""
    if "DJANGO_SETTINGS_MODULE" not in os.environ:
        from drydown.cli.desk import begin  # noqa: PLC0415

        begin(Path(tempfile.mkdtemp(prefix="drydown-docs-")), demo=False)


def main(check: bool) -> None:
    """Write the pages, or with `check` stop when one is out of date."""
    _books()
    made = {"commands.md": commands(), "nomenclature.md": nomenclature(), "cautions.md": cautions()}
    for name, text in made.items():
        file = ROOT / "docs" / name
        if check and (not file.exists() or file.read_text(encoding="utf-8") != text):
            sys.exit(f"docs/{name} is out of date: run `make docs`")
        if not check:
            file.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    typer.echo("writing docs") if "--check" not in sys.argv else None
    main("--check" in sys.argv)
