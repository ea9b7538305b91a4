"""What the parts of the driveline carry with each curve. Run it in the folder of the README."""

# %% Set torque against the ratings of the scenario
import simlaunch

scenario = simlaunch.load("scenarios/road-coupe.toml")
loads = simlaunch.parts(scenario)
print(loads.summary())

# %% Everything that the command `parts` prints
print(loads.to_text())

# %% Steady pull and peaks against the ratings
axes = loads.plot()
axes.set_title("Parts and ratings")
