"""Constants that decide a result and are no field of the network file, each with the reason.

DEVELOPERS.md shows the same list; a test holds the two together, and finds constants that stand in neither.
"""

import importlib
from typing import Any, NamedTuple


class Fixed(NamedTuple):
    """A constant of a module of ``hopyears``, its unit, what it is and why it is no field."""

    module: str
    name: str
    unit: str
    meaning: str
    reason: str

    @property
    def value(self) -> Any:
        """What the module says now."""
        return getattr(importlib.import_module(f"hopyears.{self.module}"), self.name)


_STANDARD = "part of a standard"
_LAW = "of a published law"
_FITTED = "fitted with others, none to be changed alone"
_STATE = "default that follows from other fields; state the field"
_FINE = "finer than any figure shown"
_WARNS = "warns only"
_NO_MEAN = "moves no mean"
_SAYS = "moves what is said only"
_COSTS = "more cost time; what they leave open is told as a chance"

_ROWS = {
    "models.judging.outage_rule": (
        ("RUN_S", "s", "severely errored seconds that begin an outage", _STANDARD),
        ("SEVERE_SHARE", "", "share of a second lost that makes it severe", _STANDARD),
    ),
    "models.judging.objectives": (
        ("REFERENCE_LENGTH_KM", "km", "path of F.1703", _STANDARD),
        ("END_TO_END_SEVERELY_ERRORED_RATIO", "", "of F.1668", _STANDARD),
    ),
    "models.judging.demand_clock": (("CLOCK_STEP_S", "s", "of the solar time of demand profiles", _FINE),),
    "models.judging.sharing": (("TOLERANCE", "", "share of a rate that counts as nothing", _FINE),),
    "models.radio.modulation": (
        ("SYMBOL_RATE_PER_SPACING", "MBd/MHz", "for thresholds and capacities", _STATE),
        ("CODE_RATE", "", "for capacities", _STATE),
    ),
    "models.radio.wet_antenna": (("GROWTH_DB", "dB", "fade over which antennas get wet", _LAW),),
    "models.radio.scheme": (("MAXIMUM_CHANNELS", "", "channels of a hop", "refuses only"),),
    "models.equipment.solar": (
        ("SUNRISE_S", "s", "from midnight to the first harvest of a day", "batteries last for days"),
    ),
    "models.basics.sun": (
        ("TROPIC_DEG", "deg", "latitude within which both seasons of multipath count", "of astronomy"),
    ),
    "models.air.cross_polar": (("U0_DB", "dB", "discrimination in rain, average of P.530", _STANDARD),),
    "models.air.fade_shape": (
        ("REFERENCE_DURATION_S", "s", "mean duration of fades over root depth", _LAW),
        ("REFERENCE_PATH_KM", "km", "path on which it was measured", _LAW),
        ("DURATION_RANGE_S", "s", "limits of that law over length", "common practice; see the module"),
        ("LOG_SPEED_SD", "", "spread of fade durations", _LAW),
    ),
    "models.air.daily_cycle": (
        ("LAND_AMPLITUDE", "", "daily cycle of showers over land under a noon sun in the zenith", _STATE),
        ("SEA_AMPLITUDE", "", "daily cycle of showers over the sea", _STATE),
    ),
    "models.air.rain_cell": (("DEFAULT_POPULATION", "", "sizes and lives of rain cells", _FITTED),),
    "models.air.rain_texture": (
        ("LARGEST", "", "part by which texture raises or lowers the rain on a long hop", _FITTED),
        ("HALF_LENGTH_KM", "km", "hop on which it is half of that", _FITTED),
        ("TURN_S", "s", "from one draw of it to the next", _FITTED),
    ),
    "models.air.storm": (("DEFAULT_STORMS", "", "how rain gathers; speed and bearing are fields", _FITTED),),
    "sim.multipath.night_pattern": (
        ("FIRST_HOUR", "h", "local hour at which nights of multipath begin", _FITTED),
        ("HOUR_WEIGHT", "", "activity of each hour of a night", _FITTED),
        ("PATTERNS", "", "unevenness of nights and hours, by terrain", _FITTED),
        ("_CUT", "", "standard deviations at which both laws end", _FITTED),
    ),
    "sim.multipath.night_law": (
        ("_LARGEST_SEASON_DB", "dB", "worst month over mean month", "the map of depths adds the rest"),
        ("_SEASON_STEP_DB", "dB", "step of that ratio", "the map of depths adds the rest"),
    ),
    "sim.multipath.still_air": (
        ("NIGHT_SCALE_KM", "km", "over which the severity of nights is shared", "chosen by P.530, 2.3.7"),
        ("TILE_DEG", "deg", "side of the tiles that nights come from", _FINE),
        ("_REACH_KM", "km", "of a tile", _FINE),
        ("_KM_PER_DEG", "km", "of a degree of latitude", _FINE),
        ("RAIN_NEAR_KM", "km", "from rain to air that is still enough for multipath", "common practice"),
        ("LEAST_RAIN_MM_H", "mm/h", "peak from which it counts as such rain", "common practice"),
    ),
    "sim.multipath.nights": (("SLOT_S", "s", "time of constant activity", _FITTED),),
    "sim.hops.hop_design": (
        ("CENTRE_STEP_DEG", "deg", "grid of the rain field's middle", "a plan's new site moves no weather"),
    ),
    "sim.hops.hop_thresholds": (
        ("CROSS_POLAR_SHARE_DB", "dB", "margin lost from which interference is the cause", "moves no time"),
        ("LEAST_DEPTH_DB", "dB", "rain that counts as none", _FINE),
    ),
    "sim.hops.modulation_steps": (
        ("SIGNATURE_DEPTH_DB", "dB", "depth of signatures up to so many states", _STATE),
    ),
    "sim.hops.design_doubts": (
        ("TESTED_OCCURRENCE", "", "occurrence of multipath", _WARNS),
        ("LARGEST_OCCURRENCE", "", "occurrence of multipath", "refuses only"),
        ("LARGEST_SCALE", "", "rain rate over that of the maps", _WARNS),
        ("HEAVIEST_RAIN_MM_H", "mm/h", "rain that no place exceeds", _WARNS),
    ),
    "sim.services.service_demands": (
        ("SWITCHING_S", "s", "gap at a change of route, by protection", _STATE),
        ("SEVERE_SHARES", "", "lost share of a second that makes it severe, by kind of service", _STANDARD),
        ("COMMANDED_S", "s", "gap at a change of route by command", _STATE),
        ("REROUTED_CANDIDATES", "", "shortest routes that rerouting may take", "more cost time (our own)"),
    ),
    "sim.services.service_data": (
        ("LEAST_SHORTFALL_MBIT_S", "Mbit/s", "shortfall that counts as none", _FINE),
        ("SMALL_MBIT_S", "Mbit/s", "shortfall or lack of room that counts as none in sharing", _FINE),
    ),
    "sim.services.ring_routes": (("MOST_WAYS", "", "ways over rings of one service", "refuses only"),),
    "sim.rare.forced": (
        ("YEARS_OF_A_DRAW", "years", "of history for one rare failure put in by hand", _NO_MEAN),
        ("LEAST_SHARE", "", "of a part in those draws, over the typical", _NO_MEAN),
        ("SELDOM_PER_YEAR", "1/year", "single failures below which pairs are put in", _NO_MEAN),
        ("MOST_SPARES", "", "of a store that is emptied by hand", _NO_MEAN),
    ),
    "sim.rare.earlier": (
        ("BY_THEMSELVES", "", "share of those histories without an earlier failure put in", _NO_MEAN),
        ("EVEN_SHARE", "", "of the lags of earlier failures that are even", _NO_MEAN),
        ("REACH_S", "s", "largest such lag", _NO_MEAN),
    ),
    "sim.rare.strikes": (
        ("EVEN_CHANCE", "", "that a strike put in takes each radio, in half of them", _NO_MEAN),
    ),
    "sim.rare.alone": (
        (
            "UNSEEN_QUANTILE",
            "",
            "of the repair assumed where none was seen",
            "bounds only: see the list above",
        ),
    ),
    "sim.rare.service_figures": (
        ("UNSEEN_WEATHER_S", "s", "outage by weather assumed likewise", "bounds only: see the list above"),
    ),
    "sim.rare.year_law": (("MOST_WEATHER_YEARS", "years", "joined with each year of failures", _NO_MEAN),),
    "sim.studies.method_error": (
        ("RAIN_ERROR", "", "of P.530's rain attenuation, where asked for", "published, from memory"),
        ("MULTIPATH_ERROR_DB", "dB", "of P.530's multipath fades, where asked for", "published, from memory"),
    ),
    "sim.blocks.prepared": (
        ("_TRIAL_YEARS", "years", "trial for the share of time with a storm", "splits a stated mean rate"),
    ),
    "sim.counting.figures": (
        (
            "UNSEEN_OUTAGE_S",
            "s",
            "outage of a hop assumed where none was seen",
            "bounds only: see the list above",
        ),
    ),
    "sim.money.service_money": (("BAD_YEAR", "", "share of years within the penalty of a bad one", _SAYS),),
    "sim.studies.replicated": (
        ("SHARE_STUDIED", "", "one in so many replications is judged without each target", _NO_MEAN),
    ),
    "sim.studies.ranking": (("RESAMPLES", "", "of the bootstrap of a ranking", _FINE),),
    "sim.advice.candidates": (
        ("LARGER_BATTERY", "", "times as long lasts a larger battery", "state a candidate of your own"),
    ),
    "sim.advice.search": (
        ("ENUMERATED", "", "candidates up to which all sets are looked at", _COSTS),
        ("KEPT", "", "best sets that a search remembers", _COSTS),
    ),
    "sim.advice.gains": (("MOST_PAIRS", "", "pairs of hops judged together", _COSTS),),
    "sim.advice.estimate": (
        ("GAIN_YEARS", "years", "on which gains are judged", _COSTS),
        ("MOST_NAMED_PAIRS", "", "pairs of the user's candidates judged together", _COSTS),
    ),
    "sim.advice.advise": (("CORRECTIONS", "", "searches, members simulated in between", _COSTS),),
    "sim.advice.allocation": (("FIRST_BLOCKS", "", "blocks that each gets first", _COSTS),),
    "sim.advice.confirm": (
        ("CONTENDERS", "", "sets that are simulated against each other", _COSTS),
        ("MOST_STEPS", "", "steps of the order that are simulated", _COSTS),
        ("SURE_ENOUGH", "", "chance of a right choice that ends the spending", _COSTS),
        ("ROUNDS", "", "of the search for a target", _COSTS),
    ),
}

FIXED = tuple(Fixed(module, *row) for module, rows in _ROWS.items() for row in rows)
