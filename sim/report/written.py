"""How pages are made from their templates."""

from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from hopyears.sim.wording.wording import plural


def page_template(name: str) -> Any:
    """A template of the package; whatever goes into it is escaped."""
    environment = Environment(
        loader=PackageLoader("hopyears.sim.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["counted"] = plural
    return environment.get_template(name)
