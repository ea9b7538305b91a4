"""How sure it is which curve is quicker. Run it in the folder of the README."""

# %% Draw what is not known exactly, and launch both curves with every draw
import simlaunch

scenario = simlaunch.load("scenarios/road-coupe.toml")
odds = simlaunch.odds(scenario, cases=64)  # of its first two curves
print(odds.summary())

# %% A row for every case
frame = odds.to_dataframe()
print(frame["difference_s"].describe())

# %% How the difference is spread
axes = odds.plot()
axes.set_title("64 cases")
