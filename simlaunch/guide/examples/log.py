"""A logged run: times by the definitions of a calculated one. Run it in the folder of the README."""

# %% Read a log (invented, made from a calculated run)
import simlaunch

logged = simlaunch.read_log("scenarios/sheets/invented-launch-log.csv")
print(logged.summary())
for line in logged.understood:
    print(line)

# %% Set it beside a calculated launch
scenario = simlaunch.load("scenarios/road-coupe.toml")
launch = simlaunch.simulate(scenario, "peak")
print(launch.summary())

# %% Speed over time, log and calculation together
axes = logged.plot()
axes.plot(launch.run.trace.time, launch.run.trace["speed"] * 3.6, linestyle="--")
axes.set_title("Logged, and calculated (dashed)")
