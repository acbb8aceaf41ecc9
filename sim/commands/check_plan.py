"""What ``check`` says of a plan: entries that it changes, adds and removes, what it buys for how much."""

from collections.abc import Iterator

from hopyears.models.network.network import Network
from hopyears.models.network.network_references import ID_FIELDS, KINDS, named
from hopyears.sim.inputs.network_build import ENTRY_LISTS, SINGLE_ENTRIES
from hopyears.sim.money.network_costs import cost_rows, terms_of
from hopyears.sim.studies.plan_tables import changed_rows
from hopyears.sim.wording.money_rows import amount

MOST_LINES = 30
"""Changed entries that are listed; then how many more there are."""


def plan_page(name: str, before: Network, after: Network) -> Iterator[str]:
    """Lines on a plan and the network that it is laid over.

    Parameters
    ----------
    name : str
        File of the plan.
    before, after : Network
        Without and with the plan.
    """
    lines = [*entry_changes(before, after)]
    yield f"{name}: entries changed, added or removed: {len(lines)}"
    yield from (f"  {line}" for line in lines[:MOST_LINES])
    if len(lines) > MOST_LINES:
        yield f"  ... and {len(lines) - MOST_LINES} more"
    yield from bill_changes(before, after)
    yield ""


def entry_changes(before: Network, after: Network) -> Iterator[str]:
    """One line for each entry that differs."""
    for key in ENTRY_LISTS:
        field = ID_FIELDS.get(key, "id")
        sides = [{getattr(entry, field): entry for entry in getattr(each, key)} for each in (before, after)]
        for entry_id in dict.fromkeys((*sides[0], *sides[1])):
            label = named(KINDS[key], entry_id)
            if entry_id not in sides[1]:
                yield f"{label} removed"
            elif entry_id not in sides[0]:
                yield f"{label} added"
            elif sides[0][entry_id] != sides[1][entry_id]:
                yield f"{label}: {', '.join(_fields(sides[0][entry_id], sides[1][entry_id]))}"
    for key in SINGLE_ENTRIES:
        if getattr(before, key) != getattr(after, key):
            yield f"{key}: {', '.join(_fields(getattr(before, key), getattr(after, key)))}"


def _fields(before: object, after: object) -> Iterator[str]:
    """Fields that differ, by their names in a file."""
    for field, info in type(before).model_fields.items():  # type: ignore[attr-defined]
        if getattr(before, field) != getattr(after, field):
            yield info.alias or field


def bill_changes(before: Network, after: Network) -> Iterator[str]:
    """What is bought and given up, by item, and what that costs where there are prices."""
    terms = terms_of(after)
    counts: dict[str, float] = {}
    missing = set()
    for (_, item, _), (old, new), money in changed_rows(cost_rows(before), cost_rows(after), terms):
        counts[item] = counts.get(item, 0.0) + new - old
        if money.present != money.present:
            missing.add(item)
    changed = {item: count for item, count in counts.items() if count}
    yield "  " + (
        ", ".join(f"{count:+g} {item.replace('_', ' ')}" for item, count in changed.items())
        or "the same hardware"
    )
    if terms is None:
        return
    cost = terms.cost_of(cost_rows(after)) - terms.cost_of(cost_rows(before))
    yield (
        f"  {amount(cost.capital)} {after.prices.currency} at once, {amount(cost.yearly)} by the year: "
        f"{amount(terms.by_year(cost.present))} a year over {terms.life_years:g} years"
    )
    if missing:
        names = ", ".join(sorted(item.replace("_", " ") for item in missing))
        yield f"  without a price and left out: {names}"
