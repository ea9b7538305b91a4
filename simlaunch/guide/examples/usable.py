"""What the tyres can use, gear by gear. Run it in the folder of the README."""

# %% Set every curve of a scenario against the grip ceiling of each gear
import simlaunch

scenario = simlaunch.load("scenarios/road-coupe.toml")
found = simlaunch.usable(scenario)
print(found.summary())

# %% Everything that the command `usable` prints
print(found.to_text())

# %% Curves and ceilings
axes = found.plot()
axes.set_title("Usable torque")
