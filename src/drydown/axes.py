"""Arrays with named axes: what the public functions return; to xarray and pandas where installed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drydown.errors import InputError
from drydown.words import say

__all__ = ["Named", "NamedSet"]


@dataclass(frozen=True, slots=True, eq=False)
class Named:
    """One quantity: values, the names of its axes, the labels along each, its unit and words."""

    name: str
    values: NDArray[Any]
    dims: tuple[str, ...]
    coords: Mapping[str, NDArray[Any]]
    unit: str = ""
    words: str = ""

    def __post_init__(self) -> None:
        shape = tuple(len(self.coords[d]) for d in self.dims)
        if self.values.shape != shape:
            raise InputError(
                say("has shape {shape}, its axes {shape_2}.", shape=self.values.shape, shape_2=shape),
                self.name,
            )

    def __array__(self, dtype: Any = None, copy: bool | None = None) -> NDArray[Any]:
        """The values, so that numpy takes it as an array."""
        return np.array(self.values, dtype=dtype, copy=True) if copy else np.asarray(self.values, dtype=dtype)

    def sel(self, **labels: Any) -> Named:
        """The part at a label of an axis, such as sel(member=0); the axis goes.

        Raises `InputError` for an axis or a label that is not there.
        """
        values, dims = self.values, list(self.dims)
        for dim, label in labels.items():
            if dim not in dims:
                raise InputError(
                    say("has no axis '{dim}', but {dims}.", dim=dim, dims=", ".join(self.dims)), self.name
                )
            found = np.flatnonzero(np.asarray(self.coords[dim]) == label)
            if not found.size:
                raise InputError(say("has no {dim} '{label}'.", dim=dim, label=label), self.name)
            values = np.take(values, int(found[0]), axis=dims.index(dim))
            dims.remove(dim)
        kept = {d: self.coords[d] for d in dims}
        return Named(self.name, np.asarray(values), tuple(dims), kept, self.unit, self.words)

    def to_xarray(self) -> Any:
        """As an `xarray.DataArray` with its unit. Raises `InputError` where xarray is not installed."""
        array = _library("xarray").DataArray
        about = {"units": self.unit, "long_name": self.words}
        return array(self.values, dict(self.coords), self.dims, self.name, about)

    def to_pandas(self) -> Any:
        """As a pandas Series, or a DataFrame of two axes. Raises `InputError` where pandas is missing."""
        pandas = _library("pandas")
        axes = [pandas.Index(self.coords[d], name=d) for d in self.dims]
        if len(axes) == 1:
            return pandas.Series(self.values, axes[0], name=self.name)
        if len(axes) == 2:
            return pandas.DataFrame(self.values, axes[0], axes[1])
        index = pandas.MultiIndex.from_product(axes)
        return pandas.Series(self.values.ravel(), index, name=self.name)


@dataclass(frozen=True, slots=True, eq=False)
class NamedSet:
    """Quantities that share their axes, by name; `about` says what they are of."""

    parts: Mapping[str, Named]
    about: Mapping[str, str] = field(default_factory=dict)

    def __getitem__(self, name: str) -> Named:
        if name not in self.parts:
            raise InputError(
                say("there is no '{name}'.", name=name),
                fix=say("One of: {parts}.", parts=", ".join(self.parts)),
            )
        return self.parts[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self.parts)

    def to_xarray(self) -> Any:
        """As an `xarray.Dataset`. Raises `InputError` where xarray is not installed."""
        made = _library("xarray").Dataset({name: part.to_xarray() for name, part in self.parts.items()})
        made.attrs.update(self.about)
        return made

    def to_pandas(self) -> Any:
        """As a pandas DataFrame, a column for each quantity. Raises `InputError` where pandas is missing."""
        pandas = _library("pandas")
        first = next(iter(self.parts.values()))
        axes = [pandas.Index(first.coords[d], name=d) for d in first.dims]
        index = axes[0] if len(axes) == 1 else pandas.MultiIndex.from_product(axes)
        return pandas.DataFrame({n: np.asarray(p.values).ravel() for n, p in self.parts.items()}, index)


def _library(name: str) -> Any:
    from importlib import import_module  # noqa: PLC0415

    try:
        return import_module(name)
    except ImportError as error:
        raise InputError(
            say("'{name}' is not installed.", name=name), fix=say("pip install {name}", name=name)
        ) from error
