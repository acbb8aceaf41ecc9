"""The timeline of a replay in words: what happened, one sentence a moment."""

from collections.abc import Iterator, Mapping
from itertools import pairwise
from typing import Any, NamedTuple

from hopyears.sim.wording.wording import given, span

MOST_WORDS = 400
"""Sentences; above this, changes of modulation that stop nothing are left out first."""

Data = Mapping[str, Any]


class Moment(NamedTuple):
    """A sentence on what happened ``time_s`` after the beginning; ``weight`` 0 to 2, 2 stays to the last."""

    time_s: float
    kind: str
    text: str
    weight: int


def moments(data: Data) -> tuple[list[Moment], int]:
    """Sentences in order of time, at most ``MOST_WORDS``, and how many were left out.

    Parameters
    ----------
    data : mapping
        As ``sim.studies.replay.replay`` gives it.
    """
    every = sorted(
        [*_of_hops(data), *_of_services(data), *_of_failures(data), *_of_power(data)],
        key=lambda each: each.time_s,
    )
    kept = every
    for least in (1, 2):
        if len(kept) > MOST_WORDS:
            kept = [each for each in every if each.weight >= least]
    return kept[:MOST_WORDS], len(every) - len(kept[:MOST_WORDS])


def _because(causes: str) -> str:
    return f" ({causes})" if causes else ""


def _of_hops(data: Data) -> Iterator[Moment]:
    on_route = {hop for route in data["routes"] for hop in route}
    for number, (row, steps) in enumerate(zip(data["hops"], data["hop_steps"], strict=True)):
        weight = 1 if number in on_route else 0
        for before, now in pairwise(steps):
            was, states = min(before[1:3]), min(now[1:3])
            if states == was:
                continue
            if states == 0:
                yield Moment(now[0], "hop", f"{row[0]} is down{_because(now[5])}", weight + 1)
            elif was == 0:
                yield Moment(
                    now[0], "hop", f"{row[0]} is back with {states} states{_because(now[5])}", weight + 1
                )
            else:
                way = "falls" if states < was else "rises"
                yield Moment(now[0], "hop", f"{row[0]} {way} to {states} states{_because(now[5])}", weight)


def _of_services(data: Data) -> Iterator[Moment]:
    for service, steps in zip(data["services"], data["service_steps"], strict=True):
        weight = 2 if service == data["service"] else 1
        route = steps[0][5] if steps else 0
        for before, now in pairwise(steps):
            rate = f"{given(min(now[2:4]))} Mbit/s"
            if now[5] and now[5] != route:
                yield Moment(now[0], "service", f"service {service} takes route {now[5]}", weight)
            route = now[5] or route
            if now[1] != before[1]:
                text = (
                    f"service {service} is down{_because(now[6])}"
                    if now[1]
                    else f"service {service} is back, {rate}"
                )
                yield Moment(now[0], "service", text, weight)
            elif now[4] != before[4] and not now[1]:
                met = "has its committed rate again" if now[4] else f"falls below its committed rate, {rate}"
                yield Moment(
                    now[0], "service", f"service {service} {met}{'' if now[4] else _because(now[6])}", weight
                )


def _of_failures(data: Data) -> Iterator[Moment]:
    for each in data["failures"]:
        failed, noticed, spare, sets_off, arrives, mended = each["stages_s"]
        weight = 2 if each["affecting"] else 1
        what = each["part"]
        unseen = ", unseen" if each["latent"] else ""
        struck = " by lightning" if "lightning" in each["cause"] else ""
        crew = each["crew"] and f"crew {each['crew']}"
        sentences = [
            (failed, f"{what} fails{struck}{unseen}{'' if each['affecting'] else '; traffic goes on'}"),
            (noticed, f"the failure of {what} is noticed"),
        ]
        if spare > noticed:
            sentences.append((spare, f"a spare for {what} is at hand"))
        if crew:
            from_base = f" from {each['base']}" if each["base"] else ""
            sentences.append((sets_off, f"{crew} sets off{from_base} for {what}"))
            sentences.append((arrives, f"{crew} is there"))
        if each["over"]:
            sentences.append((mended, f"{what} works again, after {span(mended - failed)}"))
        for time_s, text in sentences:
            if 0.0 < time_s < data["span_s"]:
                yield Moment(time_s, "crew" if text.startswith("crew") else "part", text, weight)


def _of_power(data: Data) -> Iterator[Moment]:
    begins = {
        "mains lost": "loses its mains",
        "without power": "is without power",
        "planned work": "is under planned work",
    }
    ends = {
        "mains lost": "has its mains again",
        "without power": "has power again",
        "planned work": "is done with planned work",
    }
    for site, what, start_s, end_s in data["power"]:
        for time_s, words in ((start_s, begins[what]), (end_s, ends[what])):
            if 0.0 < time_s < data["span_s"]:
                yield Moment(time_s, "power", f"{data['sites'][site][0]} {words}", 2)
