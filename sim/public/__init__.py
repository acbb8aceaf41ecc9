"""Simulates the availability and protection of microwave radio networks, many years at a time.

>>> import hopyears
>>> network = hopyears.read_network("network.toml")
>>> results = hopyears.simulate(network, years=2, block_years=1, seed=7)
>>> list(results.services["service"])
['hill-ridge', 'mill-ridge']

Names are loaded when they are first used, so that the command line starts without them.
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from hopyears.api import (
        Advice,
        Comparison,
        InputError,
        ModelOptions,
        Prediction,
        Results,
        advise,
        columns,
        compare,
        explain,
        open_run,
        predict,
        read_network,
        read_plan,
        simulate,
        worst_outages,
        write_page,
    )

__all__ = [
    "Advice",
    "Comparison",
    "InputError",
    "ModelOptions",
    "Prediction",
    "Results",
    "advise",
    "columns",
    "compare",
    "explain",
    "open_run",
    "predict",
    "read_network",
    "read_plan",
    "simulate",
    "worst_outages",
    "write_page",
]


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from hopyears import api

    value = globals()[name] = getattr(api, name)
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
