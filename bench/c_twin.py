"""The same algorithm in C: the kernel's own source, translated line by line, at -O3.

Only what the kernel uses is understood: numbers, one flat work space, loops over ranges,
conditionals. The translation is made anew at each run, so the two cannot drift apart.
"""

from __future__ import annotations

import ast
import ctypes
import inspect
import shutil
import subprocess
import tempfile
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from drydown.steps.dry import airpath, bed, block, constants, heat, kernel, lanes, powers, solver
from drydown.steps.dry.layout import BED_LAYERS, LANES
from drydown.steps.dry.rows import SIZE

__all__ = ["build", "run_members"]

NAMES = {
    powers: ["exponential", "isotherm_power"],
    heat: ["on_floor", "bare_floor", "heat_rates", "heat_entered"],
    airpath: ["against", "air_path", "burner"],
    bed: ["prepare", "ground_shares", "bed_geometry"],
    kernel: [
        "saturation", "capacities", "surfaces", "pore_balance", "pore_vapour", "water_flows",
        "moisture_rates", "boundary_flows", "rates",
    ],
    solver: [
        "factor_shells", "factor_layers", "factor_slab", "factor_blocks", "factor", "forward", "backward",
        "linear_flows", "solve",
    ],
    lanes: ["read_air", "begin", "rake"],
    block: ["predict", "second_side", "step_error", "accept", "both_stages"],
}  # fmt: skip
RETURNS = {"float": "double", "int": "long", "bool": "long", "None": "void"}
TYPES = {"Array": "double *restrict", "float": "double", "int": "long"}
HOURLY_COLUMNS = 7

DRIVER = """
int run_block(double *ws, double *table, double *hourly, double *raked, double *start, long hours,
              double tol, double *moisture) {{
    double tau = 300.0; long taken = 0;
    begin(ws, table, start, {layers});
    for (long hour = 0; hour < hours; hour++) {{
        if (rake(ws, {layers}, raked + hour * {lanes}, 0.5)) tau = fmin(tau, 300.0);
        double at = 0.0;
        while (at < 3599.999) {{
            double rest = 3600.0 - at;
            if (tau > 0.999 * rest) tau = rest; else if (tau > 0.5 * rest) tau = 0.5 * rest;
            double error = both_stages(ws, hourly, hour + 1, at, tau, tol, {layers});
            taken++;
            if (error > 1.0 && tau > 1.0) {{ tau = fmax(tau * fmax(0.2, 0.9 / sqrt(error)), 1.0); continue; }}
            accept(ws, tau, {layers});
            at += tau;
            tau = fmax(tau * fmin(4.0, 0.9 / sqrt(fmax(error, 1e-6))), 1.0);
        }}
        capacities(ws, {state}, {layers}, 0.0, {drift});
        for (long m = 0; m < {lanes}; m++) {{
            double film = 0.0;
            for (long j = 0; j < {layers}; j++) film += ws[({film} + j) * {lanes} + m];
            moisture[hour * {lanes} + m] = ws[{mean} * {lanes} + m] + film / ws[{load} * {lanes} + m];
        }}
    }}
    return (int)taken;
}}
"""


class Translator(ast.NodeVisitor):
    """One function of the kernel to C."""

    def __init__(self, names: dict[str, Any], returns: dict[str, str]) -> None:
        self.names, self.returns = names, returns
        self.types: dict[str, str] = {}
        self.lines: list[str] = []

    def function(self, node: ast.FunctionDef) -> str:
        """A whole function."""
        parameters = []
        for a in node.args.args:
            kind = TYPES[ast.unparse(a.annotation)] if a.annotation else "double"
            self.types[a.arg] = "long" if kind == "long" else ("array" if "*" in kind else "double")
            parameters.append(f"{kind} {a.arg}")
        own = set(self.types)
        for statement in node.body[1:]:
            self.statement(statement)
        declared = "".join(f"{t} {n} = 0; " for n, t in self.types.items() if n not in own and t != "array")
        body = "\n".join(self.lines)
        kind = self.returns[node.name]
        return f"static inline {kind} {node.name}({', '.join(parameters)}) {{ {declared}\n{body}\n}}\n"

    def statement(self, node: ast.stmt) -> None:
        """One statement."""
        if isinstance(node, ast.Assign):
            for target in node.targets:
                self.assign(target, node.value)
        elif isinstance(node, ast.AugAssign):
            op = {ast.Add: "+=", ast.Sub: "-=", ast.Mult: "*=", ast.Div: "/="}[type(node.op)]
            self.lines.append(f"{self.text(node.target)} {op} {self.text(node.value)};")
        elif isinstance(node, ast.For):
            self.loop(node)
        elif isinstance(node, ast.If):
            self.branch(node)
        elif isinstance(node, ast.Return):
            self.lines.append(f"return {self.text(node.value)};" if node.value else "return;")
        elif isinstance(node, ast.Continue):
            self.lines.append("continue;")
        elif isinstance(node, ast.Expr):
            self.lines.append(f"{self.text(node.value)};")
        else:
            raise TypeError(ast.dump(node))

    def assign(self, target: ast.expr, value: ast.expr) -> None:
        """A name, several names at once, or a place in an array."""
        if isinstance(target, ast.Tuple):
            assert isinstance(value, ast.Tuple)
            for t, v in zip(target.elts, value.elts, strict=True):
                self.assign(t, v)
            return
        if isinstance(target, ast.Name):
            self.types.setdefault(target.id, self.kind(value))
        self.lines.append(f"{self.text(target)} = {self.text(value)};")

    def loop(self, node: ast.For) -> None:
        """A loop over a range."""
        assert isinstance(node.target, ast.Name)
        assert isinstance(node.iter, ast.Call)
        name, bounds = node.target.id, [self.text(a) for a in node.iter.args]
        self.types.setdefault(name, "long")
        first, last = ("0", bounds[0]) if len(bounds) == 1 else (bounds[0], bounds[1])
        down = len(bounds) == 3
        self.lines.append(
            f"for ({name} = {first}; {name} {'>' if down else '<'} {last}; {name}{'--' if down else '++'}) {{"
        )
        for statement in node.body:
            self.statement(statement)
        self.lines.append("}")

    def branch(self, node: ast.If) -> None:
        """if and else."""
        self.lines.append(f"if ({self.text(node.test)}) {{")
        for statement in node.body:
            self.statement(statement)
        self.lines.append("}")
        if node.orelse:
            self.lines.append("else {")
            for statement in node.orelse:
                self.statement(statement)
            self.lines.append("}")

    def kind(self, node: ast.expr) -> str:
        """long or double."""
        if isinstance(node, ast.Constant):
            return "long" if isinstance(node.value, bool | int) else "double"
        if isinstance(node, ast.Name):
            known = self.types.get(node.id)
            return known or ("long" if isinstance(self.names.get(node.id), int) else "double")
        if isinstance(node, ast.BinOp):
            whole = self.kind(node.left) == self.kind(node.right) == "long" and not isinstance(
                node.op, ast.Div
            )
            return "long" if whole else "double"
        if isinstance(node, ast.IfExp):
            return "long" if self.kind(node.body) == self.kind(node.orelse) == "long" else "double"
        if isinstance(node, ast.UnaryOp):
            return self.kind(node.operand)
        return "double"

    def text(self, node: ast.expr | None) -> str:
        """An expression."""
        if isinstance(node, ast.Constant):
            return str(int(node.value)) if isinstance(node.value, bool) else repr(node.value)
        if isinstance(node, ast.Name):
            value = None if node.id in self.types else self.names.get(node.id)
            return repr(value) if isinstance(value, int | float) else node.id
        if isinstance(node, ast.BinOp):
            op = {ast.Add: "+", ast.Sub: "-", ast.Mult: "*", ast.Div: "/"}[type(node.op)]
            left = f"(double){self.text(node.left)}" if op == "/" else self.text(node.left)
            return f"({left} {op} {self.text(node.right)})"
        if isinstance(node, ast.UnaryOp):
            mark = "!" if isinstance(node.op, ast.Not) else "-"
            return f"({mark}{self.text(node.operand)})"
        if isinstance(node, ast.IfExp):
            return f"({self.text(node.test)} ? {self.text(node.body)} : {self.text(node.orelse)})"
        if isinstance(node, ast.Compare):
            op = {ast.Lt: "<", ast.Gt: ">", ast.LtE: "<=", ast.GtE: ">=", ast.Eq: "==", ast.NotEq: "!="}[
                type(node.ops[0])
            ]
            return f"({self.text(node.left)} {op} {self.text(node.comparators[0])})"
        if isinstance(node, ast.Subscript):
            return self.subscript(node)
        if isinstance(node, ast.Call):
            return self.call(node)
        raise TypeError(ast.dump(node) if node else "nothing")

    def subscript(self, node: ast.Subscript) -> str:
        """A place in an array: the last axis is lanes, hourly has seven columns before it."""
        assert isinstance(node.value, ast.Name)
        if not isinstance(node.slice, ast.Tuple):
            return f"{node.value.id}[{self.text(node.slice)}]"
        parts = [self.text(e) for e in node.slice.elts]
        if len(parts) == 3:
            return f"{node.value.id}[({parts[0]} * {HOURLY_COLUMNS} + {parts[1]}) * {LANES} + {parts[2]}]"
        return f"{node.value.id}[{parts[0]} * {LANES} + {parts[1]}]"

    def call(self, node: ast.Call) -> str:
        """A function of the kernel or of mathematics."""
        name = ast.unparse(node.func).removeprefix("math.")
        if name == "table.shape":
            return "0"
        known = {"abs": "fabs", "min": "fmin", "max": "fmax", "float": "(double)"}
        return f"{known.get(name, name)}({', '.join(self.text(a) for a in node.args)})"


def source() -> str:
    """All of it as C."""
    from drydown.steps.dry import rows
    from drydown.steps.dry.layout import PARAMETER_COUNT

    text = ["#include <math.h>", "#define short lacking  // a word of C"]
    for name, array in (("V", constants.V), ("FACTORS", constants.FACTORS)):
        text.append(f"static const double {name}[] = {{{', '.join(repr(float(v)) for v in array)}}};")
    trees: list[tuple[ast.FunctionDef, dict[str, Any]]] = []
    for module, names in NAMES.items():
        for name in names:
            made: Any = getattr(module, name)
            code = textwrap.dedent(inspect.getsource(getattr(made, "py_func", made)))
            code = code.replace("table.shape[0]", str(PARAMETER_COUNT))
            tree = ast.parse(code).body[0]
            assert isinstance(tree, ast.FunctionDef)
            trees.append((tree, vars(module)))
    returns = {t.name: RETURNS[ast.unparse(t.returns) if t.returns else "None"] for t, _n in trees}
    text += [Translator(names, returns).function(tree) for tree, names in trees]
    places = {
        "lanes": LANES, "layers": BED_LAYERS, "state": rows.STATE, "drift": rows.DRIFT, "mean": rows.MEANX,
        "film": rows.STATE + rows.F0, "load": constants.LOAD,
    }  # fmt: skip
    return "\n".join(text) + DRIVER.format(**places)


def build() -> Callable[..., int] | None:
    """The compiled twin, or None where there is no C compiler."""
    compiler = shutil.which("gcc") or shutil.which("cc")
    if compiler is None:
        return None
    folder = Path(tempfile.mkdtemp(prefix="drydown-bench-"))
    (folder / "twin.c").write_text(source(), encoding="utf-8")
    call = [
        compiler,
        "-O3",
        "-march=native",
        "-fno-math-errno",
        "-fno-signed-zeros",
        "-freciprocal-math",
        "-fno-trapping-math",
        "-shared",
        "-fPIC",
        "-o",
        str(folder / "twin.so"),
    ]
    subprocess.run([*call, str(folder / "twin.c"), "-lm"], check=True)
    run: Callable[..., int] = ctypes.CDLL(str(folder / "twin.so")).run_block
    return run


def run_members(
    run: Callable[..., int],
    table: np.ndarray,
    hourly: np.ndarray,
    raked: np.ndarray,
    start: np.ndarray,
    tol: float,
) -> np.ndarray:
    """Moisture (hour, lane) of one block; arrays as `block.run_block` takes them."""
    hours = raked.shape[0]
    ws, moisture = np.zeros(SIZE), np.zeros((hours, LANES))

    def pointer(a: np.ndarray) -> Any:
        return a.ctypes.data_as(ctypes.c_void_p)

    run(
        pointer(ws), pointer(table), pointer(hourly), pointer(raked), pointer(start), ctypes.c_long(hours),
        ctypes.c_double(tol), pointer(moisture),
    )  # fmt: skip
    return moisture
