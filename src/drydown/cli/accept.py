"""`drydown accept`: attribute plans: how many items to look at, and the chance to miss what is bad."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from drydown.cli.show import answering, out, positive, print_cautions, print_json
from drydown.errors import InputError, RangeError
from drydown.words import say

__all__ = ["accept"]


def accept(
    lot: Annotated[int, typer.Option(help="items in the lot: bags, boxes, sheets", min=1)],
    aql: Annotated[
        float | None,
        typer.Option(parser=positive, help="acceptance quality limit, % nonconforming (0.65, 1, 2.5 ...)"),
    ] = None,
    level: Annotated[str, typer.Option(help="I, II, III, S-1 ... S-4")] = "II",
    tightened: Annotated[
        bool, typer.Option("--tightened", help="after two lots of five not accepted")
    ] = False,
    look_at: Annotated[int | None, typer.Option(help="items looked at, without a plan", min=1)] = None,
    allow: Annotated[int, typer.Option(help="bad ones allowed among them, with --look-at", min=0)] = 0,
    bad: Annotated[
        list[int] | None, typer.Option(help="bad items in the lot: chance to accept it all the same")
    ] = None,
    history: Annotated[
        str, typer.Option(help="lots before, oldest first: y accepted, n not, such as yynyn")
    ] = "",
    json: Annotated[bool, typer.Option("--json", help="print JSON, shape drydown.accept/1")] = False,
) -> None:
    """A single sampling plan of ISO 2859-1, or one of your own, and what it misses."""
    from drydown.outlook.cautions import at_command  # noqa: PLC0415 (keeps --help quick)
    from drydown.quality.attributes import attribute_plan  # noqa: PLC0415

    with answering():
        found: dict[str, Any] = {"shape": "drydown.accept/1", "lot": lot}
        lines: list[str] = []
        tightened = _severity(history, found, lines) or tightened
        if found.get("severity", {}).get("state") == "stopped":
            raise InputError(lines[0], "--history", "No plan is given until the cause is mended.")
        if aql is not None and look_at is not None:
            raise InputError("stand against each other.", "--aql and --look-at", "Give one of them.")
        if aql is not None:
            plan = attribute_plan(lot, aql, level, tightened)
            size, most = plan.size, plan.accept
            found |= {"letter": plan.letter, "letter_used": plan.used_letter, "reject": plan.reject}
            kind = "tightened" if tightened else "normal"
            arrow = (
                say(
                    " (letter {letter}, arrow to {used_letter})",
                    letter=plan.letter,
                    used_letter=plan.used_letter,
                )
                if plan.letter != plan.used_letter
                else ""
            )
            lines.append(
                say(
                    "Look at {size} of {lot}{value}, accept up to {most} bad, not from {reject} on; "
                    "{kind} inspection, {aql:g} % [ISO 2859-1]",
                    size=size,
                    lot=lot,
                    value=arrow or f" (letter {plan.letter})",
                    most=most,
                    reject=plan.reject,
                    kind=kind,
                    aql=aql,
                )
            )
        elif look_at is not None:
            size, most = look_at, allow
            lines.append(
                say("Look at {size} of {lot}, accept up to {most} bad.", size=size, lot=lot, most=most)
            )
        else:
            raise InputError("is needed.", "--aql or --look-at", "Name a limit, or how many are looked at.")
        if most >= size:
            raise RangeError(
                say("{most} bad among {size} accepts everything.", most=most, size=size),
                "--allow",
                "Allow fewer.",
            )
        if size > lot:
            raise RangeError(say("{size} cannot be looked at of {lot}.", size=size, lot=lot), "--look-at")
        found |= {"look_at": size, "accept": most, "chances": _chances(lot, size, most, bad, lines)}
        if json:
            print_json(found)
            return
        for line in lines:
            out.print(line, markup=False)
        print_cautions(at_command("accept"))


def _severity(history: str, found: dict[str, Any], lines: list[str]) -> bool:
    """Whether the lots before ask for tightened inspection; what they say goes into the answer."""
    from drydown.quality.attributes import severity_after  # noqa: PLC0415

    if not history:
        return False
    if set(history) - {"y", "n"}:
        raise InputError(say("'{history}' is not a row of y and n.", history=history), "--history")
    severity = severity_after([c == "y" for c in history])
    found["severity"] = {"state": severity.state, "words": severity.words}
    lines.append(severity.words)
    return severity.state == "tightened"


def _chances(
    lot: int, size: int, most: int, bad: list[int] | None, lines: list[str]
) -> list[dict[str, float]]:
    """Chance that a lot with so many bad items is accepted, drawn without putting back."""
    from drydown.quality.attributes import plan_curve  # noqa: PLC0415

    asked = bad or sorted({max(1, round(lot * share)) for share in (0.01, 0.02, 0.05, 0.10, 0.20)})
    found = []
    for number in asked:
        if not 0 <= number <= lot:
            raise RangeError(say("{number} bad of {lot} cannot be.", number=number, lot=lot), "--bad")
        chance = plan_curve(size, most, [number / lot], lot)[0]
        found.append({"bad": number, "accepted": chance})
        lines.append(
            say(
                "{number} bad of {lot} ({lot_2:.3g} %): accepted all the same {chance:.1f} %",
                number=number,
                lot=lot,
                lot_2=100 * number / lot,
                chance=100 * chance,
            )
        )
    return found
