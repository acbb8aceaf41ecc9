"""What a plant is made of, with the defaults of the network's entries: a test changes what it is about."""

from dataclasses import replace

from hopyears.models.equipment.lifetimes import Law
from hopyears.models.equipment.plant import ProtectionGroup
from hopyears.models.equipment.upkeep import CrewBase, SpareStore
from hopyears.models.equipment.working_time import Shift
from hopyears.models.network.network import Crew, Depot, Maintenance, Power, RepairRules, Site, Switching
from hopyears.sim.equipment import upkeep_builder

AT_ONCE = RepairRules(dispatch_h=0.0)
OFFICE_HOURS = Shift(8.0, 17.0, (True,) * 5 + (False,) * 2, utc_offset_h=0.0, on_call=True)
ROUND_THE_CLOCK = Shift(0.0, 24.0, (True,) * 7, utc_offset_h=0.0, on_call=True)


def supply(**changes):
    """Mains and battery."""
    return replace(upkeep_builder.power_supply(Power(id="standard"), 0.0), **changes)


def generator(**changes):
    """A standby generator."""
    return replace(upkeep_builder.power_supply(Power(id="x", generator=True), 0.0).generator, **changes)


def sun(harvest_h):
    """Solar supply of this harvest in every month."""
    power = Power(id="x", solar_harvest_h=(harvest_h,) * 12)
    return upkeep_builder.power_supply(power, 0.0).solar


def work(**changes):
    """Planned work, once a year."""
    return replace(upkeep_builder.planned_work(Maintenance(site="x", every_days=365.25)), **changes)


def crew_at(name, latitude_deg, longitude_deg, number=1, *, shift=ROUND_THE_CLOCK, **changes):
    """Crews of these hours (universal time) at a base."""
    base = Site(id="x", latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    made: CrewBase = upkeep_builder.crew_base(Crew(id=name, base="x", teams=number, **changes), base)
    return replace(made, shift=shift)


def spares_at(name, latitude_deg, longitude_deg, stock, **changes):
    """Spares of exponential lead times."""
    base = Site(id="x", latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    made: SpareStore = upkeep_builder.spare_store(Depot(id=name, base="x", stock=stock), base)
    return replace(made, **changes)


def group(name, chains, **changes):
    """Protection group whose standbys are tested on the network's timetable."""
    switching, rules = Switching(), RepairRules()
    made = ProtectionGroup(
        id=name,
        chains=chains,
        stopped_by=(),
        switch_time_s=switching.changeover_s,
        switch_failure=switching.failure_on_demand,
        manual_switch=Law.lognormal(switching.manual_switch_h, rules.duration_ln_sd),
        revertive=switching.reverts,
        wait_to_restore_s=switching.wait_to_restore_s,
        test=Law.fixed(switching.standby_test_days * 24.0),
    )
    return replace(made, **changes)
