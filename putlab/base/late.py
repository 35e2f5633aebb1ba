"""Modules that take long to load, each loaded when something of it is first used."""

from importlib import import_module
from typing import Any


class Late:
    """Stands for a module until something of it is asked for."""

    def __init__(self, name: str) -> None:
        self._name = name

    def __getattr__(self, name: str) -> Any:
        return getattr(import_module(self._name), name)
