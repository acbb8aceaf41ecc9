"""What does adaptive modulation buy on a trunk of two bands, when its busy hour counts?

    python experiments/mixed_band/study.py

Writes ``README.md``, ``capacity.png``, ``lost.png`` and ``services.csv`` beside itself; ``STUDY_YEARS`` says
how many years.
"""

import os
from pathlib import Path

import matplotlib.pyplot as plt
import pandas as pd

import hopyears

HERE = Path(__file__).parent
YEARS = int(os.environ.get("STUDY_YEARS", "60"))
OUT = Path(os.environ.get("STUDY_OUT", HERE))
BLOCKS = 20
HOP = "hill-mill"
"""The hop whose curve is drawn, the last and longest."""

WITHOUT_E = {"remove": [f"hops/{hop}-e" for hop in ("core-park", "park-hill", "hill-mill")]}


def flat(base):
    """The same network, whose services ask for all of their rates at every hour."""
    names = [service.id for service in base.network.services]
    whole = {"id": "whole", "working_day": [1.0] * 24}
    services = [{"id": name, "demand_profile": "whole"} for name in names]
    return hopyears.read_plan({"demand_profiles": [whole], "services": services}, base)


def studied(network, states=None):
    return hopyears.modulation(
        network, years=YEARS, block_years=max(1, YEARS // BLOCKS), seed=1, workers=2, states=states
    )


def name_of(states):
    return "adaptive" if states == 0 else f"fixed at {states} states"


def draw_capacity(found):
    """Capacity of the two bands and of both as one, against the time with less."""
    curves = found["hop_curves"]
    drawn, places = plt.subplots(1, 2, figsize=(11, 4.0), sharey=True, layout="constrained")
    whole = {f"{HOP}-e": "E band", f"{HOP}-low": "18 GHz, two polarisations", HOP: "both as one"}
    sides = (
        ("adaptive modulation", [(hop, 0, label) for hop, label in whole.items()]),
        ("both as one", [(HOP, states, name_of(states)) for states in sorted(set(curves["states"]))]),
    )
    for axes, (title, lines) in zip(places, sides, strict=True):
        for hop, states, label in lines:
            own = curves[(curves["hop"] == hop) & (curves["states"] == states)]
            lacking = [0.0, *(1.0 - own["exceeded_share"].sort_values())][1:]
            rates = own.sort_values("exceeded_share")["mbit_s"]
            axes.step([max(each, 1e-7) for each in lacking], rates, where="pre", label=label)
        axes.set_xscale("log")
        axes.set_xlim(0.1, 1e-6)
        axes.set_title(f"{HOP}: {title}", fontsize=11)
        axes.set_xlabel("share of the time with less")
        axes.legend(fontsize=8)
    places[0].set_ylabel("Mbit/s")
    drawn.savefig(OUT / "capacity.png", dpi=110)
    plt.close(drawn)


def draw_lost(table):
    """Share of what is asked for that each service lacks."""
    cases = list(dict.fromkeys(table["case"]))
    services = list(dict.fromkeys(table["service"]))
    drawn, axes = plt.subplots(figsize=(8.5, 3.8), layout="constrained")
    for i, case in enumerate(cases):
        rows = table[table["case"] == case].set_index("service").loc[services]
        scale = rows["undelivered_share"] / rows["undelivered_gbit_per_year"]
        ends = [
            (rows["undelivered_gbit_per_year"] - rows["undelivered_gbit_per_year_low"]) * scale,
            (rows["undelivered_gbit_per_year_high"] - rows["undelivered_gbit_per_year"]) * scale,
        ]
        height = [k + 0.13 * (i - (len(cases) - 1) / 2) for k in range(len(services))]
        share = rows["undelivered_share"]
        axes.errorbar(
            share, height, xerr=[end.clip(lower=0.0) for end in ends], fmt="o", label=case, capsize=2
        )
    axes.set_xscale("log")
    axes.set_yticks(range(len(services)), services)
    axes.invert_yaxis()
    axes.set_xlabel("share of what is asked for that is not delivered (95 % interval)")
    axes.legend(fontsize=8)
    drawn.savefig(OUT / "lost.png", dpi=110)
    plt.close(drawn)


def cases_of(found, flat_found, alone):
    """Rows of services in every case, adaptive first."""
    frames = [
        rows.assign(case=f"both bands, {name_of(states)}")
        for states, rows in found["services"].groupby("states", sort=True)
    ]
    for case, other in (("both bands, adaptive, all day", flat_found), ("18 GHz alone, adaptive", alone)):
        rows = other["services"]
        frames.append(rows[rows["states"] == 0].assign(case=case))
    return pd.concat(frames, ignore_index=True)


def per_mille(share):
    return f"{1000.0 * share:.3g}"


def lost_lines(table):
    services = list(dict.fromkeys(table["service"]))
    yield "| thousandths not delivered | " + " | ".join(services) + " |"
    yield "|---" * (1 + len(services)) + "|"
    for case, rows in table.groupby("case", sort=False):
        share = rows.set_index("service")["undelivered_share"]
        yield f"| {case} | " + " | ".join(per_mille(share[service]) for service in services) + " |"


def state_lines(found):
    shares = found["hop_modulations"]
    shares = shares[shares["hop"].str.startswith(HOP)]
    states = sorted(set(shares["states"]))
    yield "| hours a year at | " + " | ".join(str(each) if each else "nothing" for each in states) + " |"
    yield "|---" * (1 + len(states)) + "|"
    for hop, rows in shares.groupby("hop", sort=False):
        for column, hours, label in (("share", 8766.0, ""), ("busy_share", None, ", busy hours, per cent")):
            of = rows.set_index("states")[column].reindex(states).fillna(0.0)
            cells = [f"{hours * each:,.2f}" if hours else f"{100.0 * each:.4f}" for each in of]
            yield f"| {hop}{label} | " + " | ".join(cells) + " |"


def weather_lines(found):
    yield "| hop | unavailable min/year (95 %) | by weather alone | steps a year | by weather alone |"
    yield "|---|---|---|---|---|"
    rows = found["hop_weather"]
    for row in rows[rows["hop"].str.startswith(HOP)].to_dict("records"):
        cells = [
            "{:,.1f} ({:,.1f} to {:,.1f})".format(*(row[f"{name}{end}"] for end in ("", "_low", "_high")))
            for name in ("unavailable_min_per_year", "weather_unavailable_min_per_year")
        ]
        steps = [f"{row[name]:,.0f}" for name in ("steps_per_year", "weather_steps_per_year")]
        yield f"| {row['hop']} | {cells[0]} | {cells[1]} | {steps[0]} | {steps[1]} |"


def priority_lines(found):
    yield "| modulation | priority | Gbit/year not delivered (95 %) | more than adaptive |"
    yield "|---|---|---|---|"
    rows = found["undelivered"]
    for row in rows[rows["cause"] == "all"].to_dict("records"):
        lost, more = (
            [row[f"{name}{end}"] / 1000.0 for end in ("", "_low", "_high")]
            for name in ("undelivered_mbit_per_year", "difference_undelivered_mbit_per_year")
        )
        beside = "" if row["states"] == 0 else "{:,.0f} ({:,.0f} to {:,.0f})".format(*more)
        shown = "{:,.0f} ({:,.0f} to {:,.0f})".format(*lost)
        yield f"| {name_of(row['states'])} | {row['priority']} | {shown} | {beside} |"


def page(found, table):
    sums = table.groupby("case", sort=False)["undelivered_gbit_per_year"].sum()
    adaptive = sums["both bands, adaptive"]
    best = sums[
        [f"both bands, {name_of(states)}" for states in sorted(set(found["hops"]["states"])) if states]
    ]
    lines = [
        "# What does adaptive modulation buy on a trunk of two bands?",
        "",
        "Three hops of 3 km in a row, each of an E band (80 GHz, 500 MHz) and a lower band (18 GHz, two",
        "polarisations of 56 MHz) side by side as one bundle. Offices (priority 1) ask for most in the",
        f"morning, homes (priority 3) in the evening. Network invented; {YEARS} years on the same weather in",
        "every case. One command makes this page again:",
        "",
        "    python experiments/mixed_band/study.py",
        "",
        f"**{adaptive:,.0f} Gbit a year are not delivered with adaptive modulation; with the best fixed one",
        f"({best.idxmin().removeprefix('both bands, ')}) {best.min():,.0f}, with the lower band alone "
        f"{sums['18 GHz alone, adaptive']:,.0f}.** Asked for all day, not by the hour,",
        f"the same services would seem to lack {sums['both bands, adaptive, all day']:,.0f}.",
        "",
        "![capacity of the last hop](capacity.png)",
        "",
        "## Who lacks it",
        "",
        "![what each service lacks](lost.png)",
        "",
        *lost_lines(table),
        "",
        *priority_lines(found),
        "",
        "## The last hop, band by band",
        "",
        "The bundle is one hop here: what one band has left adds to the other. Equipment hides the weather",
        "in the first column, so weather alone stands beside it.",
        "",
        *weather_lines(found),
        "",
        *state_lines(found),
        "",
        "Busy hours are those in which offices or homes ask for as much as they ever do.",
    ]
    (OUT / "README.md").write_text("\n".join(lines) + "\n", encoding="utf-8")


def main():
    base = hopyears.read_network(HERE / "network.toml")
    found = studied(base)
    flat_found, alone = studied(flat(base), [256]), studied(hopyears.read_plan(WITHOUT_E, base), [256])
    table = cases_of(found, flat_found, alone)
    table.to_csv(OUT / "services.csv", index=False, float_format="%.6g")
    draw_capacity(found)
    draw_lost(table)
    page(found, table)
    print((OUT / "README.md").read_text(encoding="utf-8"))


if __name__ == "__main__":
    main()
