"""Which radio of each channel transmits once every switch has done its work, the obvious way."""

from hopyears.models.equipment.link_states import NOBODY, LinkStructure, RadioCauses, Transmitting


def best_transmitting(
    structure: LinkStructure, parts_up: int, radio_causes: RadioCauses | None = None
) -> Transmitting:
    """The main radio where it can, else the standby, else nobody; for each end and channel."""

    def works(end: int, radio: int) -> bool:
        held_down = radio_causes is not None and radio_causes[end][radio]
        return not held_down and not structure.needs[end][radio] & ~parts_up

    first, second = (
        tuple(
            next((order for order, radio in sorted(on.items()) if works(end, radio)), NOBODY)
            for on in structure.radios_on
        )
        for end in (0, 1)
    )
    return (first, second)
