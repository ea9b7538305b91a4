"""The page that a customer is handed, and the comparison behind it. Run it in the folder of the README."""

# %% Make the page in a folder of its own
import tempfile
from pathlib import Path

import simlaunch

scenario = simlaunch.load("scenarios/road-coupe.toml")
page = Path(tempfile.mkdtemp()) / "customer.html"
made = simlaunch.report(scenario, page, cases=64)
print(made.summary())

# %% The comparison behind it, for those who want numbers
print(made.material.comparison.to_text())
