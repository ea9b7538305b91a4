"""Two curves against each other: verdict, JSON and picture. Run it in the folder of the README."""

# %% Compare the curves of a scenario; 64 cases say how sure the answer is
import simlaunch

scenario = simlaunch.load("scenarios/road-coupe.toml")
comparison = simlaunch.compare(scenario, cases=64)
print(comparison.summary())

# %% The same with slip control, from the JSON that the command prints
pair = comparison.to_dict()["pairs"][0]
print(pair["held_slip"]["at_goal"]["gap_s"])

# %% The gap along the run
axes = comparison.plot()
axes.set_title("Peak against plateau")
