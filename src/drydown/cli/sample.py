"""`drydown draw` and `drydown size`: how to draw a sample, and bean sizes from a photo."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from drydown.cli.show import answering, out, print_cautions, print_json, table_of
from drydown.errors import InputError
from drydown.words import say

if TYPE_CHECKING:
    from drydown.quality.photo import Photo, PhotoScreens

__all__ = ["draw", "size"]


def draw(
    bags: Annotated[int, typer.Option(help="bags in the lot")],
    rule: Annotated[str, typer.Option(help="iso-4072, tcvn-5702, every-bag, small-lots or toxin")],
    form: Annotated[str, typer.Option(help="green or parchment, for the trier")] = "green",
    json: Annotated[bool, typer.Option("--json", help="print JSON, shape drydown.draw/1")] = False,
) -> None:
    """How many bags to open, how much to take of each, with which trier."""
    from drydown.outlook.cautions import at_command  # noqa: PLC0415 (keeps --help quick)
    from drydown.quality.sampling import draw_plan, trier  # noqa: PLC0415

    with answering():
        plan, tool = draw_plan(bags, rule), trier(form)
        if json:
            print_json({
                "shape": "drydown.draw/1", "rule": plan.rule, "bags_in_lot": plan.bags_in_lot,
                "bags": plan.bags,
                "increments": plan.increments, "increment_g": plan.increment_g, "bulk_g": plan.bulk_g,
                "portions_g": dict(plan.portions), "remarks": list(plan.remarks),
                "source": plan.source.as_dict(),
                "trier": tool.sizes,
            })  # fmt: skip
            return
        out.print(f"{plan.words}: open {plan.bags} of {plan.bags_in_lot} bags.", markup=False)
        out.print(
            f"{plan.increments} increments of {plan.increment_g} g, {plan.bulk_g} g in all.", markup=False
        )
        out.print("Divide into " + ", ".join(f"{n} {g} g" for n, g in plan.portions) + ".", markup=False)
        for remark in plan.remarks:
            out.print(remark, markup=False)
        sizes = ", ".join(f"{name} {size}" for name, size in tool.sizes.items())
        out.print(f"{tool.words}: {sizes}. {tool.note}", markup=False)
        for source in (plan.source, tool.source):
            out.print(f"[{source.text}, {source.status}]", markup=False)
        print_cautions(at_command("draw"))


def size(
    photo: Annotated[Path, typer.Argument(help="JPEG or PNG: beans on a plain sheet, a card beside them")],
    table: Annotated[str, typer.Option(help="screen numbers of: iso, india or sni")] = "iso",
    json: Annotated[bool, typer.Option("--json", help="print JSON, shape drydown.size/1")] = False,
) -> None:
    """Bean widths and screens from a photo with a card of 85.60 x 53.98 mm on the sheet."""
    from drydown.outlook.cautions import at_command  # noqa: PLC0415 (keeps --help quick)
    from drydown.quality.photo import measure_photo, photo_screens, read_picture  # noqa: PLC0415

    with answering():
        try:
            content = photo.read_bytes()
        except OSError as error:
            raise InputError(
                say("cannot be read ({strerror}).", strerror=error.strerror), str(photo)
            ) from error
        found = measure_photo(read_picture(content))
        screens = photo_screens(found.beans, table)
        if json:
            _plain(found, screens)
        else:
            _print(found, screens)
            print_cautions(at_command("size"))


def _plain(found: Photo, screens: PhotoScreens) -> None:
    from drydown.quality.photo import HONEST, colour_summary  # noqa: PLC0415

    colour = colour_summary(found.beans)
    print_json({
        "shape": "drydown.size/1", "table": screens.table, "px_per_mm": found.px_per_mm,
        "tilt_deg": found.tilt_deg,
        "edge_mm": found.edge_mm, "left_out": found.left_out, "at_edge": found.at_edge,
        "height_percent": found.height_percent, "remarks": [*found.remarks, HONEST],
        "beans": [
            {"width_mm": b.width_mm, "length_mm": b.length_mm, "touching": b.touching} for b in found.beans
        ],
        "screens": [
            {"screen": r.number, "hole_mm": r.hole_mm, "beans": r.beans, "by_mass": r.by_mass,
             "above": r.above, "low": r.low, "high": r.high} for r in screens.rows
        ],
        "colour": {
            "lightness": colour.lightness, "a": colour.a, "b": colour.b, "spread": colour.spread,
            "odd": colour.odd,
        },
    })  # fmt: skip


def _print(found: Photo, screens: PhotoScreens) -> None:
    from drydown.quality.photo import HONEST  # noqa: PLC0415

    good = say(
        "{px_per_mm:.1f} pixels per mm, camera {tilt_deg:.0f} degrees aslant.",
        px_per_mm=found.px_per_mm,
        tilt_deg=found.tilt_deg,
    )
    out.print(f"{len(found.beans)} beans at {good}", markup=False)
    heads = (
        f"screen ({screens.table})", "hole, mm", "beans", "by mass, reckoned", "on it and above, 95 %"
    )  # fmt: skip
    rows = table_of(*heads, right=heads)
    for r in screens.rows:
        span = f"{100 * r.above:.0f} % ({100 * r.low:.0f} to {100 * r.high:.0f})" if r.hole_mm else ""
        rows.add_row(
            r.number, f"{r.hole_mm:.2f}" if r.hole_mm else "", str(r.beans), f"{100 * r.by_mass:.1f} %", span
        )
    out.print(rows)
    for remark in (*found.remarks, HONEST):
        out.print(remark, markup=False)
