"""From dyno sheet to curve: what was understood, and the curve itself. Run it in the folder of the README."""

# %% Read a sheet with three pulls (invented)
import simlaunch

sheet = simlaunch.read_curve(["scenarios/sheets/invented-wheel-sheet.csv"])
print(sheet.summary())

# %% How rows, columns and pulls were read
print(sheet.to_text())

# %% The curve as a table, in SI units
frame = sheet.to_dataframe()
print(frame.head())

# %% The curve and its pulls
axes = sheet.plot()
axes.set_title("Three pulls on a roller")
