"""Stops a run when a service's outage is known well enough.

The question is put after set numbers of blocks, whoever simulated them and in whatever order they ended, so
that a run stops at the same block for any number of workers, and after it was stopped and resumed.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from hopyears.models.network.network import Network
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.inputs.input_errors import InputError, place_among
from hopyears.sim.rare.service_figures import UNAVAILABLE, ServiceFigures
from hopyears.sim.storage.run_folder import RunFolder

FIRST_LOOK = 10
"""Blocks before the first look: fewer cannot tell how far the truth may lie."""

NARROWEST, WIDEST = 0.001, 1.0
"""Relative half-widths that may be asked for."""

_WORDS = re.compile(r"(service|halfwidth)=(\S+)")


@dataclass(frozen=True)
class PrecisionGoal:
    """How well which service's unavailable minutes are to be known.

    Attributes
    ----------
    service : str
        Its id.
    half_width : float
        Half of the 95 % interval over the estimate, ``NARROWEST`` to ``WIDEST``.
    """

    service: str
    half_width: float


def parse_goal(text: str) -> PrecisionGoal:
    """Goal from text such as ``service=mill-quay halfwidth=10%``.

    Raises
    ------
    InputError
        If a word is missing, unknown or twice, or the half-width is not a percentage in range.
    """
    words = text.split()
    found = [(match[1], match[2]) for word in words if (match := _WORDS.fullmatch(word))]
    if len(words) != 2 or sorted(key for key, _ in found) != ["halfwidth", "service"]:
        raise InputError(f'--until is "{text}"; must be "service=ID halfwidth=PER_CENT%"')
    values = dict(found)
    number = re.fullmatch(r"(\d+(?:\.\d*)?|\.\d+)%", values["halfwidth"])
    half_width = float(number[1]) / 100.0 if number else 0.0
    if not NARROWEST <= half_width <= WIDEST:
        raise InputError(
            f'--until halfwidth is "{values["halfwidth"]}"; must be {NARROWEST:.1%} to {WIDEST:.0%}'
        )
    return PrecisionGoal(values["service"], half_width)


def looks(n_blocks: int, at_least: int) -> Iterator[int]:
    """Numbers of blocks after which the question is put: 10, then each a quarter more, at last ``n_blocks``.

    Parameters
    ----------
    n_blocks : int
        Most blocks of the run.
    at_least : int
        Blocks that exist already: fewer are not looked at.
    """
    look = FIRST_LOOK
    while look < n_blocks:
        if look >= at_least:
            yield look
        look += -(-look // 4)
    yield max(n_blocks, at_least)


def service_number(network: Network, goal: PrecisionGoal) -> int:
    """Number of the goal's service in the network.

    Raises
    ------
    InputError
        If the network has no such service.
    """
    ids = [service.id for service in network.services]
    return place_among(ids, goal.service, "--until service", "a service")


def reached(prepared: Prepared, goal: PrecisionGoal) -> Callable[[RunFolder], bool]:
    """Question whether the blocks in a folder know the service's unavailable minutes well enough.

    Raises
    ------
    InputError
        If the network has no such service.
    """
    number = service_number(prepared.network, goal)

    def enough(folder: RunFolder) -> bool:
        found = ServiceFigures.read(prepared, folder).interval(number, UNAVAILABLE)
        return found.relative_half_width <= goal.half_width

    return enough
