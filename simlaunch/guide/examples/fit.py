"""What makes the scenario agree with a logged run, and how sure that is. Run it in the folder of the README."""

# %% Fit to a log (invented: a calculated run with noise and a sensor that lags)
import simlaunch

scenario = simlaunch.load("scenarios/road-coupe.toml")
fitted = simlaunch.fit(scenario, "scenarios/sheets/invented-fit-log.csv")
print(fitted.summary())

# %% A row for each value, with its interval
frame = fitted.to_dataframe()
print(frame)

# %% The fitted car against the log
axes = fitted.plot()
axes.set_title("Logged and fitted")
