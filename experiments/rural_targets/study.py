"""What can a rural operator promise, with one crew and long ways, and what would one class more take?

    python experiments/rural_targets/study.py

Writes ``README.md``, ``promises.png`` and ``promises.csv`` beside itself; ``STUDY_YEARS`` is their number.
"""

import os
import tempfile
from pathlib import Path

import matplotlib.pyplot as plt
import pandas as pd

import hopyears

HERE = Path(__file__).parent
YEARS = int(os.environ.get("STUDY_YEARS", "45"))
OUT = Path(os.environ.get("STUDY_OUT", HERE))
BLOCKS = 9
FEWER = hopyears.ModelOptions(replications=16)
"""A third of the usual histories of failures: five runs in five minutes."""

PERIODS = {"year": 525_960.0, "month": 43_830.0}
CLASSES = (0.9, 0.99, 0.995, 0.999, 0.9995, 0.9999)

PLANS = {
    "a second crew, at the lake": {"crews": [{"id": "second", "base": "lake"}]},
    "batteries of 24 hours": {
        "power": [{"id": "grid", "battery_h": 24}, {"id": "weak-grid", "battery_h": 24}]
    },
    "standby radios on single hops": {
        "hops": [{"id": hop, "scheme": "1+1 HSB"} for hop in ("ridge-farm", "lake-hamlet", "mine-camp")]
    },
}
ALL = "all three"
AS_IT_IS = "as it is"


def promised(run, name):
    """What each service could promise by itself, by the year and by the month."""
    services = list(run.services["service"])
    frames = []
    for period in PERIODS:
        table = hopyears.promise(run, hopyears.PromiseTerms(availability=0.999, period=period))
        frames.append(table[table["contract"].isin(services)].assign(plan=name))
    return pd.concat(frames, ignore_index=True)


def class_of(share):
    return max((each for each in CLASSES if share >= each), default=None)


def percent(share):
    return "none" if share is None else f"{100.0 * share:.6g} %"


def figure(row):
    """Promised availability with its class, or that the years are too few."""
    share = row["can_be_promised"]
    return "open" if pd.isna(share) else f"{100.0 * share:.3f} % ({percent(class_of(share))})"


def draw(table):
    """Unavailable minutes that can be promised, by service, period and plan."""
    plans = list(dict.fromkeys(table["plan"]))
    services = list(dict.fromkeys(table["contract"]))
    drawn, places = plt.subplots(1, 2, figsize=(11, 4.2), sharey=True, layout="constrained")
    for axes, (period, minutes) in zip(places, PERIODS.items(), strict=True):
        rows = table[table["period"] == period].set_index(["plan", "contract"])["can_be_promised"]
        for i, plan in enumerate(plans):
            lost = [(1.0 - rows[plan, service]) * minutes for service in services]
            height = [k + 0.12 * (i - (len(plans) - 1) / 2) for k in range(len(services))]
            axes.plot(lost, height, "o" if i else "s", markersize=6 if i else 8, label=plan)
        for level in CLASSES[1:]:
            axes.axvline((1.0 - level) * minutes, color="grey", linewidth=0.7, linestyle=":")
            axes.text((1.0 - level) * minutes, -0.75, percent(level), rotation=90, fontsize=8, va="bottom")
        axes.set_xscale("log")
        axes.set_yticks(range(len(services)), services)
        axes.set_ylim(len(services) - 0.4, -0.8)
        axes.set_xlabel(f"unavailable minutes that a {period} keeps within")
    places[0].legend(fontsize=8, loc="lower left")
    drawn.savefig(OUT / "promises.png", dpi=110)
    plt.close(drawn)


def contract_lines(table):
    yield "| contract | asks for | kept | broken in its years (80 %) |"
    yield "|---|---|---|---|"
    for row in table[table["kept"] != ""].to_dict("records"):
        asked = {"availability": f"{100.0 * row['asked']:.6g} %", "outages": f"{row['asked']:.0f} outages"}
        wanted = asked.get(row["figure"], "all of these")
        low, high = (row[f"contract_break_chance{end}"] for end in ("_low", "_high"))
        yield (
            f"| {row['contract']} | {wanted} in each {row['period']} of {row['contract_years']} years | "
            f"{row['kept']} | {row['contract_break_chance']:.0%} ({low:.0%} to {high:.0%}) |"
        )


def service_lines(table, run):
    means = run.services.set_index("service")
    yield "| service | hops | minutes a year (95 %) | promised by the year | promised by the month |"
    yield "|---|---|---|---|---|"
    for service, rows in table[table["plan"] == AS_IT_IS].groupby("contract", sort=False):
        by = {row["period"]: figure(row) for row in rows.to_dict("records")}
        own = means.loc[service]
        mean = "{:,.0f} ({:,.0f} to {:,.0f})".format(
            *(own[f"unavailable_min_per_year{end}"] for end in ("", "_low", "_high"))
        )
        yield f"| {service} | {own['hops']} | {mean} | {by['year']} | {by['month']} |"


def plan_lines(table):
    rows = table[table["period"] == "year"]
    shown = {
        (plan, service): figure(row)
        for (plan, service), row in zip(
            zip(rows["plan"], rows["contract"], strict=True), rows.to_dict("records"), strict=True
        )
    }
    plans = list(dict.fromkeys(rows["plan"]))
    yield "| service | " + " | ".join(plans) + " |"
    yield "|---" * (1 + len(plans)) + "|"
    for service in dict.fromkeys(rows["contract"]):
        yield f"| {service} | " + " | ".join(shown[plan, service] for plan in plans) + " |"


def lever_lines(levers):
    yield "| service | without outages by | mean minutes a year |"
    yield "|---|---|---|"
    for service, rows in levers.groupby("contract", sort=False):
        for row in rows.head(4).to_dict("records"):
            what = AS_IT_IS if row["kind"] == AS_IT_IS else f"{row['kind']} {row['target']}"
            lost = (1.0 - row["mean"]) * PERIODS["year"]
            yield f"| {service} | {what.replace('_', ' ')} | {lost:,.0f} |"


def answer(table):
    """What holds for every service by the year, and whom the plans bring a class further."""
    yearly = table[table["period"] == "year"].set_index(["plan", "contract"])["can_be_promised"]
    classes = yearly.map(class_of, na_action="ignore")
    higher = {
        plan: [s for s, got in classes[plan].items() if got and got > (classes[AS_IT_IS][s] or 0.0)]
        for plan in (*PLANS, ALL)
    }
    gains = ", ".join(f"{plan}: {', '.join(some) or 'nobody'}" for plan, some in higher.items())
    return (
        f"**By the year every service can be promised {percent(classes[AS_IT_IS].min())} as it is. "
        f"A class more with {gains}.**"
    )


def page(run, table, contracts, levers):
    lines = [
        "# What can a rural operator promise?",
        "",
        "Seven hops of 11 to 36 km behind one town, with one crew of one team in that town, one spare of",
        f"each kind and slow roads. Network invented; {YEARS} years. *Promised*: kept with a chance of 90 %,",
        "at a confidence of 90 %. One command makes this page again:",
        "",
        "    python experiments/rural_targets/study.py",
        "",
        answer(table),
        "",
        "![what each service can promise](promises.png)",
        "",
        "## What each service can promise by itself",
        "",
        *service_lines(table, run),
        "",
        "In brackets the class that this reaches. A month has no good year to hide in: its class is lower.",
        "",
        "## Contracts of several services and years",
        "",
        *contract_lines(contracts),
        "",
        "## What would have to change",
        "",
        "Each thing in turn as if it had never gone wrong, the largest gain first (by the simulated years "
        "alone, without the rare failures put in by hand that the table above rests on):",
        "",
        *lever_lines(levers),
        "",
        "What plans reach, on the same weather and failures, promised by the year:",
        "",
        *plan_lines(table),
    ]
    (OUT / "README.md").write_text("\n".join(lines) + "\n", encoding="utf-8")


def main():
    base = hopyears.read_network(HERE / "network.toml")
    plans = {name: hopyears.read_plan(plan, base) for name, plan in PLANS.items()}
    every = base
    for plan in PLANS.values():
        every = hopyears.read_plan(plan, every)
    with tempfile.TemporaryDirectory() as folder:
        years = {"years": YEARS, "block_years": max(1, YEARS // BLOCKS), "options": FEWER}
        hopyears.compare(base, plans | {ALL: every}, **years, seed=1, workers=2, folder=folder)
        names = {"base": AS_IT_IS} | {name: name for name in (*plans, ALL)}
        runs = {shown: hopyears.open_run(Path(folder) / name) for name, shown in names.items()}
        table = pd.concat([promised(run, name) for name, run in runs.items()], ignore_index=True)
        contracts = hopyears.promise(runs[AS_IT_IS])
        terms = hopyears.PromiseTerms(availability=0.999)
        levers = hopyears.levers(runs[AS_IT_IS], terms, blocks=BLOCKS, workers=2)
        table.to_csv(OUT / "promises.csv", index=False, float_format="%.6g")
        draw(table)
        page(runs[AS_IT_IS], table, contracts, levers)
    print((OUT / "README.md").read_text(encoding="utf-8"))


if __name__ == "__main__":
    main()
