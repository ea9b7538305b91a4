"""A scenario from a data sheet, and the first comparison. All numbers are invented."""

# %% What the data sheet says
import simlaunch

made = simlaunch.new(
    name="Invented saloon",
    mass="1720 kg",
    driven="all",
    tyres="245/40 R19",
    displacement="2998 cc",
    torque="500 N m at 1800 to 4800 rpm",
    power="285 kW at 6000 rpm",
    gearbox="8 speed planetary",
)
print(made.to_text())

# %% The file that it makes
print(made.text[:1500])

# %% What cutting the peak costs
print(simlaunch.compare(made.scenario, cases=0).summary())
