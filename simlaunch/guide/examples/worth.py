"""Where along the engine speed more torque gains time. Run it in the folder of the README."""

# %% Weigh torque for one curve
import simlaunch

scenario = simlaunch.load("scenarios/road-coupe.toml")
worth = simlaunch.worth(scenario, "plateau", bands=12)
print(worth.summary())

# %% A row for every band, in SI units
frame = worth.to_dataframe()
print(frame.head())

# %% The bands
axes = worth.plot()
axes.set_title("Worth of torque")
