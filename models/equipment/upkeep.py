"""Who looks after a plant, at their places on the map: crews, stores of spares, planned work. Frozen data.

Made from the network's entries, which alone have defaults.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from hopyears.models.equipment.lifetimes import Law
from hopyears.models.equipment.working_time import Shift


@dataclass(frozen=True, kw_only=True)
class PlannedWork:
    """Planned work of one kind at a site.

    Parameters
    ----------
    per_year : float
        Times a year, above 0.
    duration : Law
        Length [h].
    start_h : float
        Local solar hour at which it begins.
    outage_share : float
        Share of its duration, 0 to 1, in which traffic through the site is down.
    visit : bool
        A crew of the nearest base comes; else the work is done from a distance.
    climbs : bool
        Somebody climbs: put off by whole days while a storm is near.
    tests : bool
        Finds what has failed unseen in the standbys at the site.
    """

    per_year: float
    duration: Law
    start_h: float
    outage_share: float
    visit: bool
    climbs: bool
    tests: bool

    def __post_init__(self) -> None:
        if not self.per_year > 0.0:
            raise ValueError(f"per_year is {self.per_year}; must be above 0")
        if not 0.0 <= self.outage_share <= 1.0:
            raise ValueError(f"outage_share is {self.outage_share}; must be 0 to 1")


@dataclass(frozen=True, kw_only=True)
class CrewBase:
    """Crews that share a base.

    Parameters
    ----------
    id : str
        Name of the base.
    latitude_deg, longitude_deg : float
        Position [degrees].
    number : int
        Crews at the base, at least 1.
    speed_km_h : float
        Travel speed by road [km/h], above 0.
    shift : Shift
        Working hours.
    """

    id: str
    latitude_deg: float
    longitude_deg: float
    number: int
    speed_km_h: float
    shift: Shift

    def __post_init__(self) -> None:
        if self.number < 1:
            raise ValueError(f"number is {self.number}; must be at least 1")
        if not self.speed_km_h > 0.0:
            raise ValueError(f"speed_km_h is {self.speed_km_h}; must be above 0")


@dataclass(frozen=True, kw_only=True)
class SpareStore:
    """A store of spares: ``stock`` per kind of spare, refilled one for one after ``lead_time`` [h].

    A kind of spare that is missing from ``stock`` is not kept here.

    Parameters
    ----------
    id : str
    latitude_deg, longitude_deg : float
        Position [degrees].
    stock : mapping of str to int
        Spares held by kind, for radios also by type (``outdoor_radio/r18``).
    lead_time : Law
        From an order to its arrival [h].
    express_h : float or None
        An order is brought forward to arrive so soon for a fault that stops traffic and finds no spare [h];
        None: no express orders.
    ships_h : float or None
        Time to ship a spare from here to another depot, nearer to the fault [h]; None: the crew fetches it.
    """

    id: str
    latitude_deg: float
    longitude_deg: float
    stock: Mapping[str, int]
    lead_time: Law
    express_h: float | None = None
    ships_h: float | None = None
