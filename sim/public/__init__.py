"""Simulates the availability and protection of microwave radio networks, many years at a time.

>>> import hopyears
>>> network = hopyears.read_network("network.toml")
>>> results = hopyears.simulate(network, years=2, block_years=1, seed=7)
>>> list(results.services["service"])
['hill-ridge', 'mill-ridge']

Names are those of ``hopyears.api``, loaded when one is first used: the command line starts without them.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from hopyears.api import *  # noqa: F403


def __getattr__(name: str) -> Any:
    if name == "__all__" or not name.startswith("_"):
        api = import_module("hopyears.api")
        if name in {"__all__", *api.__all__}:
            value = globals()[name] = getattr(api, name)
            return value
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__getattr__("__all__")})
