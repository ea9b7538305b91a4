"""What is asked about a car: the lines of a data sheet, in the order of the questions, with where each is found.

This module loads nothing, so that asking for help stays quick.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Question:
    """One line of a data sheet.

    Parameters
    ----------
    name : str
        Keyword of the public function; the option bears the same name, with hyphens.
    what : str
        What is asked, with its unit.
    where : str
        Where to find it.
    example : str
        An answer that does.
    usual : str
        What is taken where there is no answer; empty where an answer is needed.
    """

    name: str
    what: str
    where: str
    example: str
    usual: str = ""

    @property
    def option(self) -> str:
        """Name of the option."""
        return f"--{self.name.replace('_', '-')}"


QUESTIONS = (
    Question(
        "mass",
        "Mass with driver and fuel, in kg or lb",
        "data sheet, kerb weight; many European figures include a driver of 75 kg, American ones do not: add him",
        "1610 kg",
    ),
    Question("driven", "Driven axle: front, rear or all", "data sheet", "rear"),
    Question(
        "centre",
        "Centre of the all-wheel drive: open, locked, rear by clutch or front by clutch",
        "data sheet; by clutch: one axle is driven at all times, a clutch brings the other in, as on most cars with "
        "a transverse engine",
        "rear by clutch",
        "open",
    ),
    Question(
        "rear_axle",
        "Rear axle of a rear drive: independent or live",
        "data sheet, rear suspension; live: a rigid beam that holds the final drive",
        "live",
        "independent",
    ),
    Question(
        "differential",
        "Differential of the live axle: open, limited slip or locked",
        "data sheet or axle code; locked: a spool, or welded gears",
        "limited slip",
        "open",
    ),
    Question(
        "tyres",
        "Tyre size, of the front axle where the axles differ",
        "sidewall of the tyre: width/aspect R rim",
        "245/40 R18",
    ),
    Question("rear_tyres", "Tyre size of the rear axle", "sidewall of the tyre", "265/35 R18", "as in front"),
    Question(
        "tyre_kind",
        "Kind of tyre: touring, sport, track or drag",
        "sport: summer tyre of a fast road car; track: soft, road legal; drag: soft sidewall, for standing starts",
        "sport",
        "sport",
    ),
    Question("displacement", "Displacement, in cc or l", "data sheet", "1998 cc"),
    Question(
        "boost",
        "Boost: turbocharger, supercharger (driven by the crankshaft) or none",
        "data sheet",
        "turbocharger",
        "turbocharger",
    ),
    Question(
        "torque",
        "Peak torque in N m or lb-ft, at which engine speed, or from which to which",
        "data sheet; or the name of a dyno sheet (.csv), in place of peak torque and power",
        "450 N m at 1800 to 4500 rpm",
    ),
    Question(
        "power",
        "Peak power in kW, PS or hp, at which engine speed, or from which to which",
        "data sheet",
        "250 kW at 6000 rpm",
    ),
    Question(
        "losses",
        "Losses between the crank and the place of the dyno sheet, as a share of crank power",
        "0 % for figures at the crank; at the wheel often 10 to 15 %, and more with all-wheel drive or a converter",
        "12 %",
        "0 % where the sheet states the crank, else needed",
    ),
    Question(
        "redline",
        "Engine speed of the rev limiter",
        "begin of the red field of the rev counter",
        "6800 rpm",
        "8 % above the engine speed of peak power; of a dyno sheet, its end",
    ),
    Question(
        "gearbox",
        "Gears and kind of gearbox: manual, dual clutch or planetary",
        "data sheet; an automatic with a torque converter is planetary",
        "6 speed manual",
    ),
    Question(
        "ratios",
        "Gear ratios, first gear first",
        "data sheet or workshop manual",
        "3.63, 2.19, 1.54, 1.21, 1.00, 0.82",
        "progressive steps of a usual spread",
    ),
    Question(
        "final_drive",
        "Final drive ratio",
        "data sheet or workshop manual",
        "3.46",
        "first gear reaches 60 km/h at a rev limit of 7000 rpm, and goes with its square root",
    ),
)
"""All of them.

Where `torque` names a dyno sheet, `losses` stands in place of `power`; `centre` is that of an all-wheel drive,
`rear_axle` that of a rear drive, and `differential` that of a live axle.
"""

BACK = "<"
"""Answer that goes back to the question before."""
