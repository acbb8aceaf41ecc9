"""Stories and replays of outages with names in place of ids, as readers see them."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from hopyears.sim.studies.explain import BESIDE, Story
from hopyears.sim.wording.names import place_name

Labels = Mapping[str, Mapping[str, str]]
"""By list of the network, id to name (``names.labels_of``)."""


def story_for_readers(story: Story, labels: Labels) -> Story:
    """The same story with names of its service, hops, sites and parts."""
    hops, sites = labels["hops"], labels["sites"]
    return replace(
        story,
        service=labels["services"].get(story.service, story.service),
        routes=tuple(tuple(_link(link, hops) for link in route) for route in story.routes),
        hops=tuple(replace(each, hop=hops.get(each.hop, each.hop)) for each in story.hops),
        storms=tuple(
            replace(each, hops=tuple((hops.get(hop, hop), db) for hop, db in each.hops))
            for each in story.storms
        ),
        parts=tuple(
            replace(each, part=place_name(each.part, labels), site=sites.get(each.site, each.site))
            for each in story.parts
        ),
        power=tuple(replace(each, site=sites.get(each.site, each.site)) for each in story.power),
        switches=tuple(
            replace(each, hop=hops.get(each.hop, each.hop), site=sites.get(each.site, each.site))
            for each in story.switches
        ),
        timeline=tuple(replace(each, what=hops.get(each.what, each.what)) for each in story.timeline),
    )


def _link(link: str, hops: Mapping[str, str]) -> str:
    return BESIDE.join(hops.get(each, each) for each in link.split(BESIDE))


def replay_for_readers(data: Mapping[str, Any], labels: Labels) -> dict[str, Any]:
    """The same data of a replay with names of its services, hops, sites and parts.

    Parameters
    ----------
    data : mapping
        As ``sim.studies.replay.replay`` gives it.
    labels : mapping
    """
    services, sites = labels["services"], labels["sites"]
    return {
        **data,
        "service": services.get(data["service"], data["service"]),
        "services": [services.get(each, each) for each in data["services"]],
        "sites": [[sites.get(site, site), *place] for site, *place in data["sites"]],
        "hops": [[labels["hops"].get(hop, hop), *rest] for hop, *rest in data["hops"]],
        "failures": [
            {**each, "part": place_name(each["part"], labels), "base": sites.get(each["base"], each["base"])}
            for each in data["failures"]
        ],
    }
