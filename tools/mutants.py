"""Make each change of `mutants.toml` in a copy of the tree, run its tests, and say which survive.

Usage: .venv/bin/python tools/mutants.py [word ...]   (only those whose name holds a word)
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
LEFT_OUT = shutil.ignore_patterns("__pycache__", ".hypothesis", "*.egg-info")


def main(words: list[str]) -> int:
    """Try every mutant; returns how many survive."""
    rows = tomllib.loads((ROOT / "tools" / "mutants.toml").read_text(encoding="utf-8"))["mutant"]
    chosen = [r for r in rows if not words or any(w in r["what"] for w in words)]
    survivors = []
    with tempfile.TemporaryDirectory(prefix="drydown-mutants-") as work:
        copy = Path(work)
        for part in ("src", "tests", "docs", "tools", "bench"):
            shutil.copytree(ROOT / part, copy / part, ignore=LEFT_OUT)
        for name in ("pyproject.toml", "README.md", "CHANGELOG.md", "CONTRIBUTING.md"):
            shutil.copyfile(ROOT / name, copy / name)
        for row in chosen:
            killed = _try(copy, row)
            print(f"{'killed  ' if killed else 'SURVIVED'} {row['what']}", flush=True)
            survivors += [] if killed else [row["what"]]
    print(f"{len(chosen) - len(survivors)} of {len(chosen)} killed")
    return len(survivors)


def _try(copy: Path, row: dict[str, str | list[str]]) -> bool:
    file = copy / str(row["file"])
    before = file.read_text(encoding="utf-8")
    if before.count(str(row["old"])) != 1:
        sys.exit(f"mutants.toml: '{row['what']}' does not stand once in {row['file']}")
    file.write_text(before.replace(str(row["old"]), str(row["new"])), encoding="utf-8")
    env = os.environ | {"PYTHONPATH": f"{copy / 'src'}{os.pathsep}{copy}", "PYTHONDONTWRITEBYTECODE": "1"}
    call = [sys.executable, "-m", "pytest", "-x", "-q", *row["tests"]]
    try:
        done = subprocess.run(call, cwd=copy, env=env, capture_output=True, text=True, check=False)
    finally:
        file.write_text(before, encoding="utf-8")
    if done.returncode not in {0, 1}:
        sys.exit(
            f"mutants: the tests of '{row['what']}' did not run:\n{done.stdout[-2000:]}{done.stderr[-500:]}"
        )
    return done.returncode == 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
