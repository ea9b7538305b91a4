"""One launch: what it measures, its trace as a table, and its picture. Run it in the folder of the README."""

# %% Load a scenario and launch it with slip control
import simlaunch

scenario = simlaunch.load("scenarios/road-coupe.toml")
launch = simlaunch.simulate(scenario, "plateau", simlaunch.Pedal.HELD_SLIP)
print(launch.summary())

# %% Everything that the command `run` prints, and its JSON
print(launch.to_text(units="us"))
document = launch.to_dict()
print(sorted(document))

# %% The trace: one row per sample, SI units in the names of the columns
frame = launch.to_dataframe()
print(frame.describe())

# %% The main panel
axes = launch.plot()
axes.set_title("Plateau, held slip")
