"""A walk through hopyears in Python, cell by cell."""

# %% [markdown]
# # A walk through hopyears in Python
#
# Five invented sites, two services. Each `# %%` begins a cell: notebooks and most editors run them one by
# one. `python walk_through.py` runs all of it; `WALK_THROUGH_YEARS` says how many years (default 200).

# %%
import os
from pathlib import Path

import hopyears

HERE = Path(__file__).parent if "__file__" in globals() else Path.cwd()
YEARS = int(os.environ.get("WALK_THROUGH_YEARS", "200"))

network = hopyears.read_network(HERE / "network.toml")
print(network.network.title, [hop.id for hop in network.network.hops])

# %% [markdown]
# ## What the published standards say
#
# One row a hop and modulation; services are added up along their working route.

# %%
hops, services = hopyears.predict(network)
print(hops[["hop", "states", "capacity_mbit_s", "margin_db", "total_min_per_year"]].round(1).to_string())
print(services.round(1).to_string())

# %% [markdown]
# ## What many years say
#
# Weather, failures, crews and power on one clock. The run is kept in memory; `folder="run"` would keep it on
# disk.

# %%
results = hopyears.simulate(network, years=YEARS, seed=1, block_years=max(1, YEARS // 20))
figures = [f"unavailable_min_per_year{end}" for end in ("", "_low", "_high")]
print(results.services[["service", *figures, "textbook_min_per_year"]].round(1).to_string())

# %% [markdown]
# Every column says what it holds.

# %%
print(hopyears.columns("services").head(12).to_string())

# %% [markdown]
# ## Where the minutes come from

# %%
causes = results.tables["service_causes"]
worst = causes.sort_values("unavailable_min_per_year", ascending=False).groupby("service").head(3)
print(worst[["service", "cause", "unavailable_min_per_year", "share"]].round(2).to_string())
results.plot.causes()

# %%
results.plot.unavailable_minutes()

# %%
results.plot.map()

# %% [markdown]
# ## The story of the longest outage

# %%
outages = hopyears.worst_outages(results, "farm-town", most=5)
print(outages.to_string())
story = hopyears.explain(results, "farm-town", outage=1)
for part in story.parts:
    print(part.part, "failed", round((part.mended_s - part.failed_s) / 3600.0, 1), "h")
for row in story.power:
    print(row.site, row.what, round((row.end_s - row.start_s) / 3600.0, 1), "h")

# %% [markdown]
# ## Would a plan help?
#
# A plan is a file, or, as here, its entries in Python. Base and plans are simulated on the same weather and
# failures, so that differences are far sharper than the figures.

# %%
plans = {
    "standby on the last hop": {"hops": [{"id": "ridge-farm", "scheme": "1+1 HSB"}]},
    "larger battery": {"power": [{"id": "farm", "battery_h": 24}]},
}
found = hopyears.compare(
    network,
    {name: hopyears.read_plan(plan, network) for name, plan in plans.items()},
    years=YEARS,
    seed=1,
    block_years=max(1, YEARS // 20),
)
differences = [f"difference_min_per_year{end}" for end in ("", "_low", "_high")]
print(found.differences[["plan", "service", *differences, "sure"]].round(1).to_string())
print(found.plans[["plan", "rank", "rank_chance", "undominated"]].to_string())

# %% [markdown]
# `hopyears.write_page(results, "page.html")` writes the whole page.
