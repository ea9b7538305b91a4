"""What a full-load curve must keep to, beside the ratings of parts."""

from __future__ import annotations

from typing import Annotated

from simlaunch.scenario.surroundings import Section
from simlaunch.units.field import Within, optional
from simlaunch.units.quantity import Quantity
from simlaunch.units.spelling import Dimension


class CurveLimits(Section):
    """Limits of a full-load curve; what is left out limits nothing."""

    mean_pressure: Annotated[Quantity, Within(Dimension.PRESSURE, "1 bar", "60 bar")] | None = optional(
        "Highest brake mean effective pressure; needs the displacement."
    )
    power: Annotated[Quantity, Within(Dimension.POWER, "10 kW", "2000 kW")] | None = optional("Highest power.")
    air_flow: Annotated[Quantity, Within(Dimension.MASS_FLOW, "0.01 kg/s", "3 kg/s")] | None = optional(
        "Highest flow of air, which caps the power by the usual consumption and air-fuel ratio."
    )
    rise: Annotated[Quantity, Within(Dimension.TORQUE, "1 N m", "5000 N m")] | None = optional(
        "Torque by which the curve may rise in 1000 rpm."
    )
    torque: Annotated[Quantity, Within(Dimension.TORQUE, "10 N m", "3000 N m")] | None = optional("Highest torque.")
