"""Which curve on which gear set. Run it in the folder of the README."""

# %% Launch every combination; without a path the results go with the object
import simlaunch

scenario = simlaunch.load("scenarios/road-coupe.toml")
swept = simlaunch.sweep(scenario, vary=["curve", "gear set"])
print(swept.summary())

# %% A row for every launch
frame = swept.to_dataframe()
print(frame.head())
