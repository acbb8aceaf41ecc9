"""``hopyears explain``: the worst outages of a service, and the story of one."""

import argparse
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from hopyears.sim.wording.terminal import fill, plain_table, print_table, say, terminal

if TYPE_CHECKING:
    from rich.console import Console

    from hopyears.sim.studies.explain import Outage, Story
    from hopyears.sim.studies.explain_timeline import Step


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """RUN, the service, and which outage."""
    parser.add_argument("run", metavar="RUN", help="folder that 'hopyears simulate' wrote")
    parser.add_argument("--service", required=True, metavar="ID", help="service id")
    parser.add_argument("--worst", type=int, default=10, metavar="N", help="outages to list (default 10)")
    parser.add_argument("--outage", type=int, metavar="K", help="open number K of the list, 1 is the longest")
    parser.add_argument(
        "--page",
        metavar="FILE",
        help="write a page that plays the hours around that outage again (default the longest)",
    )
    parser.add_argument(
        "--steps", type=int, default=60, metavar="N", help="most lines of its timeline (default 60)"
    )


def run(options: argparse.Namespace) -> int:
    """List the worst outages, or open one."""
    from hopyears.sim.inputs.input_errors import InputError
    from hopyears.sim.runs.rerun import open_run
    from hopyears.sim.studies.explain import reopen, story_of, worst_outages
    from hopyears.sim.wording.named_stories import story_for_readers
    from hopyears.sim.wording.names import id_of, labels_of

    for name, least in (("worst", 1), ("outage", 1), ("steps", 2)):
        value = getattr(options, name)
        if value is not None and value < least:
            raise InputError(f"--{name} is {value}; must be at least {least}")
    opened = open_run(options.run)
    labels = labels_of(opened.prepared.network)
    options.service = id_of(options.service, labels["services"])
    outages = worst_outages(opened, options.service, max(options.worst, options.outage or 0))
    console = terminal()
    if options.outage is None and options.page is None:
        _print_list(console, labels["services"][options.service], outages)
        return 0
    number = options.outage or 1
    if number > len(outages):
        found = f"{len(outages)} outages" if outages else "no outage"
        raise InputError(f"--outage is {number}; must be 1 to {len(outages)}: the run has {found}")
    again = reopen(opened, options.service, outages[number - 1])
    if options.page is not None:
        from hopyears.sim.inputs.input_text import write_text
        from hopyears.sim.report.replay_page import replay_page

        print(write_text(Path(options.page), replay_page(again)))
        return 0
    story = story_for_readers(story_of(again), labels)
    _print_story(console, story, _Clock(story.outage, opened.block_years), options.steps)
    return 0


class _Clock:
    """Writes times of a block as dates of the run."""

    def __init__(self, outage: "Outage", block_years: int) -> None:
        self._first_year = 1 + outage.block * block_years

    def __call__(self, time_s: float) -> str:
        from hopyears.models.basics.calendar import date_of

        return str(date_of(time_s, first_year=self._first_year))

    def short(self, time_s: float) -> str:
        """Day and time of day only."""
        return self(time_s).partition(", ")[2]


def _print_list(console: "Console", service: str, outages: Sequence["Outage"]) -> None:
    from hopyears.models.judging.cause import cause_label
    from hopyears.sim.wording.wording import span

    if not outages:
        say(console, f"{service}: no outage seen in this run")
        return
    rows = (
        (str(i), str(outage.date), span(outage.duration_s), cause_label(outage.causes))
        for i, outage in enumerate(outages, start=1)
    )
    _table(console, f"{service}: longest outages", ("number", "began (UTC)", "lasted", "causes"), rows)
    say(console, "--outage NUMBER opens one; --page FILE plays it again.")


def _table(console: "Console", title: str, columns: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    print_table(console, fill(plain_table(title, columns, columns), rows))


def _print_story(console: "Console", story: "Story", clock: _Clock, n_steps: int) -> None:
    from hopyears.models.judging.cause import cause_label
    from hopyears.sim.wording.wording import per_cent, span

    outage = story.outage
    say(
        console,
        f"{story.service}: outage of {span(outage.duration_s)} from {clock(outage.start_s)} to "
        f"{clock(outage.end_s)} UTC; of its time "
        + ", ".join(f"{cause_label(causes)} {per_cent(share)}" for causes, share in story.shares),
    )
    say(
        console,
        f"It is down below {story.needed_mbit_s:g} Mbit/s either way, and asks for {story.peak_mbit_s:g} "
        "Mbit/s" + (" in its busiest hour; in others for less." if story.by_the_hour else "."),
    )
    for number, route in enumerate(story.routes, start=1):
        say(console, f"route {number}: " + " > ".join(route))
    _print_hops(console, story)
    _print_storms(console, story, clock)
    _print_equipment(console, story, clock)
    _print_timeline(console, story, clock, n_steps)


def _print_hops(console: "Console", story: "Story") -> None:
    from hopyears.models.judging.cause import cause_label
    from hopyears.sim.wording.wording import given

    if not story.hops:
        say(console, "No hop of its routes was below its best: capacity was taken by other services.")
        return
    rows = []
    for hop in story.hops:
        margins = ", ".join(f"{states}: {margin:.1f}" for states, margin in hop.margin_db)
        rows.append(
            (
                hop.hop,
                cause_label(hop.causes),
                f"{' / '.join(map(given, hop.lowest_mbit_s))} of {given(max(hop.full_mbit_s))}",
                " / ".join(str(states) if states else "down" for states in hop.lowest_states),
                f"{hop.rain_db:.1f}" if hop.rain_db >= 0.05 else "-",
                (f"{hop.fade_db:.1f}" if hop.fade_db >= 0.05 else "-")
                + (" dispersive" if hop.dispersive else ""),
                margins,
                ", ".join(map(str, hop.lost_states)) or "-",
            )
        )
    columns = (
        "hop",
        "causes",
        "least Mbit/s forward / backward",
        "lowest modulation",
        "peak rain dB",
        "deepest fade dB",
        "rain margin dB by states",
        "states lost",
    )
    _table(console, "hops below their best in the outage", columns, rows)


def _print_storms(console: "Console", story: "Story", clock: _Clock) -> None:
    if story.storms:
        rows = [
            (
                str(storm.storm),
                f"{clock.short(storm.start_s)} to {clock.short(storm.end_s)}",
                f"{storm.speed_km_h:.0f}",
                f"{storm.bearing_deg:.0f}",
                f"{storm.peak_mm_h:.0f}",
                ", ".join(f"{hop} {db:.1f} dB" for hop, db in storm.hops),
            )
            for storm in story.storms
        ]
        columns = ("storm", "rain from, to", "drift km/h", "towards deg", "peak mm/h", "takes")
        _table(console, "storms", columns, rows)
    rows = [
        (
            hop.hop,
            clock.short(hop.rain_time_s),
            str(cell.storm),
            f"{cell.peak_mm_h:.0f}",
            f"{cell.radius_km:.1f}",
            f"{cell.attenuation_db:.1f}",
        )
        for hop in story.hops
        for cell in hop.cells
    ]
    if rows:
        columns = ("hop", "worst moment", "storm", "peak mm/h", "radius km", "takes dB")
        _table(console, "strongest cells, before anchoring", columns, rows)


def _print_equipment(console: "Console", story: "Story", clock: _Clock) -> None:
    from hopyears.models.judging.cause import cause_label
    from hopyears.sim.wording.wording import span

    parts = [
        (
            part.part,
            cause_label(part.causes)
            + ", unseen at first" * part.latent
            + ", traffic goes on" * (not part.affecting),
            clock(part.failed_s),
            clock(part.mended_s) if part.over else "after the block",
            part.crew or "-",
            ", ".join(f"{phase} {span(spent)}" for phase, spent in part.phases_s if spent >= 0.5),
        )
        for part in story.parts
    ]
    power = [(row.site, row.what, clock(row.start_s), clock(row.end_s)) for row in story.power]
    switches = [
        (clock(row.time_s), row.hop, row.site, str(row.channel), _radio(row.radio)) for row in story.switches
    ]
    if parts:
        columns = ("part", "kind", "failed", "mended", "crew", "where the time went")
        _table(console, "failures in force", columns, parts)
    if power:
        _table(console, "power and planned work", ("site", "what", "from", "to"), power)
    if switches:
        columns_of_switches = ("from", "hop", "site", "channel", "radio that transmits")
        _table(console, "transmitters", columns_of_switches, switches)


def _radio(number: int) -> str:
    return ("none", "main", "standby")[number] if number < 3 else f"number {number}"


def _print_timeline(console: "Console", story: "Story", clock: _Clock, n_steps: int) -> None:
    from hopyears.models.judging.cause import cause_label
    from hopyears.sim.wording.wording import given

    columns = ("time", "what", "Mbit/s forward", "backward", "modulation", "state", "causes")
    shown, left_out = _shortened(story.timeline, n_steps)
    rows = [
        (
            clock.short(step.time_s),
            step.what,
            given(step.forward_mbit_s),
            given(step.backward_mbit_s),
            _position(step),
            "down" if step.down else "",
            cause_label(step.causes) if step.causes else "",
        )
        for step in shown
    ]
    _table(console, "timeline", columns, rows)
    if left_out:
        say(console, f"{left_out} smaller changes left out; --steps {len(story.timeline)} shows all.")


def _position(step: "Step") -> str:
    from hopyears.sim.studies.explain_timeline import SERVICE

    if step.what == SERVICE:
        return f"route {step.route}" if step.route else "changes route"
    return " / ".join(str(states) if states else "down" for states in step.states)


def _shortened(steps: Sequence["Step"], n: int) -> tuple[list["Step"], int]:
    """At most about n steps: those that stop or restore something first, then the others from both ends."""
    if len(steps) <= n:
        return list(steps), 0
    previous: dict[str, bool | None] = {}
    weighty = []
    for i, step in enumerate(steps):
        if previous.get(step.what) != step.down:
            weighty.append(i)
        previous[step.what] = step.down
    chosen = set(_ends(weighty, n))
    others = [i for i in range(len(steps)) if i not in chosen]
    chosen |= set(_ends(others, n - len(chosen)))
    return [steps[i] for i in sorted(chosen)], len(steps) - len(chosen)


def _ends(items: Sequence[int], n: int) -> list[int]:
    if len(items) <= n:
        return list(items)
    half = (n + 1) // 2
    return [*items[:half], *items[len(items) - (n - half) :]]
