"""The highest plateau that still pays, and what holds it down. Run it in the folder of the README."""

# %% Search for it, with the limits that the scenario states
import simlaunch

scenario = simlaunch.load("scenarios/road-coupe.toml")
found = simlaunch.plateau(scenario, "peak")
print(found.summary())

# %% A cap of your own: the same search with less power
capped = simlaunch.plateau(scenario, "peak", power="280 kW")
print(capped.summary())

# %% What lower plateaus give away: a row for each
frame = found.to_dataframe()
print(frame.head())

# %% The plateau beside the wish
axes = found.plot()
axes.set_title("The highest plateau that pays")
