"""What might never have gone wrong: names of things, before anything is simulated without them."""

from dataclasses import dataclass

HOP, SITE, PART, SINGLE, CAUSE = "hop", "site", "part kind", "part", "cause"
"""Kinds of targets."""

RAIN, MULTIPATH, POWER, MAINTENANCE, LIGHTNING = "rain", "multipath", "power", "planned work", "lightning"
"""Names of the targets of kind ``CAUSE``."""


@dataclass(frozen=True)
class Target:
    """One thing that might never have gone wrong: its kind (``HOP`` ...) and its name."""

    kind: str
    name: str

    @property
    def is_of_plant(self) -> bool:
        """Whether it is a matter of the plant alone: no hop, no rain, no multipath."""
        return self.kind != HOP and (self.kind != CAUSE or self.name not in (RAIN, MULTIPATH))
