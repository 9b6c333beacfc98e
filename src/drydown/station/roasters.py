"""The station file's roasters and grinders: what they are, their probe, their own milestones and reference
roasts."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from drydown.errors import DrydownError, RangeError
from drydown.station.part import Part, Text
from drydown.steps.roast.model import Roaster as Machine
from drydown.words import say

__all__ = ["Brewer", "Grinder", "Milestone", "Reference", "Roaster", "Thermometer"]


class Milestone(Part):
    """A point of a roast in the station's own words, and where this roaster's probe usually shows it."""

    name: Annotated[str, Field(min_length=1, max_length=40)]
    probe_c: Annotated[float, Field(ge=30, le=280)] | None = None


class Reference(Part):
    """A reference roast of the station's own: its words and the L* of its ground coffee."""

    words: Annotated[str, Field(min_length=1, max_length=60)]
    lightness: Annotated[float, Field(ge=0, le=100)]


class Thermometer(Part):
    """A thermocouple reader on Modbus: TCP where a host is named, else a serial port. register holds
    tenths (or
    what scale says) of a degree."""

    host: Annotated[str, Field(max_length=200)] = ""
    port: Annotated[str, Field(max_length=120)] = "502"
    baud: Annotated[int, Field(ge=300, le=1_000_000)] = 9600
    device: Annotated[int, Field(ge=0, le=255)] = 1
    at_register: Annotated[int, Field(ge=0, le=65535)]
    kind: Literal["holding", "input"] = "holding"
    scale: Annotated[float, Field(gt=0, le=10)] = 0.1
    every_s: Annotated[float, Field(ge=0.2, le=60)] = 2.0


class Roaster(Part):
    """A sample or shop roaster. Physics only where known; what is not stated is taken wide and learnt from
    logs.

    inlet_c [C], gas into the beans in a usual roast; columns, how a log file calls its time and probe.
    """

    name: Text
    kind: Literal["drum", "hot_air"]
    batch_kg: Annotated[float, Field(gt=0, le=500)]
    probe: Annotated[str, Field(min_length=1, max_length=60)]
    charge_c: Annotated[float, Field(ge=20, le=350)]
    inlet_c: Annotated[float, Field(ge=100, le=510)] | None = None
    drop_c: Annotated[float, Field(ge=120, le=280)] | None = None
    gas_kg_s: Annotated[float, Field(gt=0, le=2)] | None = None
    metal_kg: Annotated[float, Field(gt=0, le=5000)] | None = None
    probe_lag_s: Annotated[float, Field(ge=0.5, le=300)] | None = None
    milestones: Annotated[tuple[Milestone, ...], Field(max_length=8)] = ()
    references: Annotated[tuple[Reference, ...], Field(max_length=8)] = ()
    columns: dict[Literal["time", "probe"], Annotated[str, Field(max_length=80)]] = {}
    thermometer: Thermometer | None = None

    @model_validator(mode="after")
    def _once(self) -> Self:
        names = [m.name.casefold() for m in self.milestones]
        if len(set(names)) < len(names):
            raise ValueError(say("a milestone of {r} stands twice", r=self.name))
        try:
            self.machine()
        except DrydownError as error:
            raise ValueError(str(error).rstrip(".")) from error
        return self

    def refuse(self, green_kg: float, charge_c: float) -> None:
        """Refuse a batch that the roaster does not hold, and a charge far from its own."""
        if not 0.1 * self.batch_kg <= green_kg <= 1.25 * self.batch_kg:
            raise RangeError(
                say("{r} is stated for {b:g} kg, got {g:g} kg.", r=self.name, b=self.batch_kg, g=green_kg),
                "green", "Grams or kilograms? Check, or correct batch_kg in the station file.",
            )  # fmt: skip
        if abs(charge_c - self.charge_c) > 80.0:
            raise RangeError(
                say("{c:g} C is far from the {o:g} C stated here.", c=charge_c, o=self.charge_c),
                "charge temperature", "Check the probe, or correct charge_c in the station file.",
            )  # fmt: skip

    def machine(self) -> Machine:
        """The same as the roasting step knows it: per kilogram of batch where nothing is stated."""
        drum = self.kind == "drum"
        plain = Machine()
        return Machine(
            gas_kg_s=self.gas_kg_s or plain.gas_kg_s * self.batch_kg * (1.0 if drum else 5.0),
            h_w_m2k=plain.h_w_m2k if drum else 80.0,
            metal_share=plain.metal_share if drum else 0.0,
            contact_w_k=plain.contact_w_k * self.batch_kg if drum else 0.0,
            metal_kg=self.metal_kg or max(plain.metal_kg * self.batch_kg, 0.05) * (1.0 if drum else 0.1),
            shell_w_k=plain.shell_w_k * self.batch_kg,
            probe_s=self.probe_lag_s or plain.probe_s,
        )  # fmt: skip


class Grinder(Part):
    """A grinder; its settings are learnt from sieved samples."""

    name: Text


class Brewer(Part):
    """A way of brewing as the station does it: percolation or immersion, grams of water to a gram, cups."""

    name: Text
    kind: Literal["percolation", "immersion"]
    ratio: Annotated[float, Field(ge=2, le=60)]
    cup_ml: Annotated[float, Field(ge=10, le=1000)] = 150.0
