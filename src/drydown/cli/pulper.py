"""`drydown pulper-test`: a pulper's test sheet by both definitions in use."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from drydown.cli.show import answering, figures_table, out, positive, print_cautions, print_json
from drydown.errors import InputError

if TYPE_CHECKING:
    from drydown.figures import Figure

__all__ = ["pulper_test"]


def pulper_test(
    fruit_kg: Annotated[float, typer.Option(parser=positive, help="ripe fruit put in, kg")],
    output_kg: Annotated[
        float | None, typer.Option(parser=positive, help="all that left the bean side, kg (test reports)")
    ] = None,
    unpulped_kg: Annotated[
        float, typer.Option(parser=positive, help="whole fruit that came through, kg")
    ] = 0.0,
    seconds: Annotated[float | None, typer.Option(parser=positive, help="time of the run, s")] = None,
    main_kg: Annotated[
        float | None,
        typer.Option(parser=positive, help="parchment at the main outlet, kg (the standard)"),
    ] = None,
    pulp_outlet_kg: Annotated[
        float, typer.Option(parser=positive, help="parchment found in the pulp, kg")
    ] = 0.0,
    spilled_kg: Annotated[
        float, typer.Option(parser=positive, help="parchment spilled at the base, kg")
    ] = 0.0,
    json: Annotated[bool, typer.Option("--json", help="print JSON, shape drydown.pulper-test/1")] = False,
) -> None:
    """Efficiency, recovery and losses of a pulper, by two definitions that share words, not meaning."""
    from drydown.outlook.cautions import at_command  # noqa: PLC0415 (keeps --help quick)
    from drydown.quality.pulper import pulper_by_outlet, pulper_by_output  # noqa: PLC0415

    with answering():
        found: dict[str, dict[str, Figure]] = {}
        if output_kg is not None and seconds is not None:
            found["by what left the bean side (test reports)"] = pulper_by_output(
                fruit_kg, output_kg, unpulped_kg, seconds
            )
        if main_kg is not None:
            found["by outlet, over the fruit (PNS/PAES 253:2011)"] = pulper_by_outlet(
                fruit_kg, main_kg, pulp_outlet_kg, unpulped_kg, spilled_kg
            )
        if not found:
            raise InputError(
                "is needed.", "--output-kg with --seconds, or --main-kg", "Weigh what left each side."
            )
        if json:
            plain = {k: {n: f.as_dict() for n, f in v.items()} for k, v in found.items()}
            print_json({"shape": "drydown.pulper-test/1", "figures": plain})
            return
        for title, figures in found.items():
            out.print(figures_table(title, figures))
        print_cautions(at_command("pulper-test"))
