"""Every curve on every tyre set. Run it in the folder of the README."""

# %% Launch every combination and rank the results; a temporary file keeps the launches
import simlaunch

scenario = simlaunch.load("scenarios/road-coupe.toml")
found = simlaunch.sweep(scenario, vary=["curve", "tyre"], by="time 60 ft", where=[])
print(found.summary())

# %% Everything that the command `sweep` prints
print(found.to_text())

# %% Every launch as a table, a row for each
launches = found.to_dataframe()
print(launches[["curve", "tyre", "time 60 ft [s]"]])

# %% The best time for each combination
axes = found.plot()
