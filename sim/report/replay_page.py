"""A page that plays the hours around an outage again: one file, offline, with a strip of frames for print."""

import json

from markupsafe import Markup

from hopyears.models.basics.calendar import date_of
from hopyears.models.judging.cause import cause_label
from hopyears.sim.report.replay_words import moments
from hopyears.sim.report.written import page_template
from hopyears.sim.studies.explain import Reopened, cause_shares
from hopyears.sim.studies.replay import replay, window_of
from hopyears.sim.wording.caution import CAUTION
from hopyears.sim.wording.named_stories import replay_for_readers
from hopyears.sim.wording.names import labels_of
from hopyears.sim.wording.wording import per_cent, span

DAY_S = 86_400


def replay_page(opened: Reopened) -> str:
    """The page as HTML text; its script and its data stand in it."""
    labels = labels_of(opened.run.prepared.network)
    data = replay_for_readers(replay(opened), labels)
    first_year = 1 + opened.outage.block * opened.run.block_years
    begin_s = window_of(opened)[0]

    def clock(time_s: float) -> str:
        return str(date_of(begin_s + time_s, first_year=first_year)).partition(", ")[2]

    days = [0.0]
    days += [
        float(day * DAY_S - begin_s)
        for day in range(int(begin_s // DAY_S) + 1, int((begin_s + data["span_s"]) // DAY_S) + 1)
    ]
    data["days"] = [[round(day, 1), clock(day + 0.01).rpartition(" ")[0]] for day in days]
    data["clock_s"] = round(begin_s % DAY_S, 1)
    words, left_out = moments(data)
    outage = opened.outage
    shares = cause_shares(opened.services[opened.service_index], outage)
    demand = opened.run.prepared.demands[opened.service_index]
    page: str = page_template("replay.html").render(
        title=f"{data['service']}, {outage.date}",
        network=opened.run.manifest.get("title") or "untitled network",
        service=data["service"],
        began=str(outage.date),
        lasted=span(outage.duration_s),
        causes=[(cause_label(causes), per_cent(share)) for causes, share in shares[:5]],
        needed=f"{demand.needed_mbit_s:g}",
        by_the_hour=demand.clock is not None,
        routes=[[data["hops"][hop][0] for hop in route] for route in data["routes"]],
        words=[(each.time_s, clock(each.time_s), each.kind, each.text) for each in words],
        left_out=left_out,
        data=Markup(json.dumps(data, separators=(",", ":")).replace("<", "\\u003c")),
        caution=CAUTION,
        run=opened.run.manifest,
    )
    return page
