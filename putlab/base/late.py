"""Modules that take long to load, each loaded when something of it is first used."""

from importlib import import_module
from typing import TYPE_CHECKING, Any


class Late:
    """Stands for a module until something of it is asked for."""

    def __init__(self, name: str) -> None:
        self._name = name

    def __getattr__(self, name: str) -> Any:
        return getattr(import_module(self._name), name)


# Of no use where a fit is kept, or to commands that show no table.
pm, pt, gradient = map(Late, ("pymc", "pytensor.tensor", "pytensor.gradient"))
elementwise = Late("scipy.optimize.elementwise")

if TYPE_CHECKING:
    import pandas as pd
else:
    pd = Late("pandas")
