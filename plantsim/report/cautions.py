"""What must stand beside the numbers, because numbers like these have been acted on and people were hurt.

General trade cautions with the regulations usually named for them; the list is no substitute for the local code.
"""

from __future__ import annotations

TRANSFER = (
    "Simulated values, not measurements. Do not transfer settings to a real plant without on-site bump tests, "
    "qualified review and tested interlocks."
)
"""Stands at the head of every page."""

INVENTED = "Demonstration sites and their data are invented: no real plant, company or place is meant."

DEFER = (
    "Local codes and licensed practice come first: where anything here differs from them, they hold. Interlocks and "
    "safety functions must be proved on the real plant by qualified people; a simulation is no evidence for them."
)

ALARMS = (
    "An alarm calls a person: it is no interlock and no safety function. Limits, delays and rates here are simulated; "
    "an alarm list is rationalised on site, with those who will answer it."
)
"""Stands beside every list of alarms and their figures."""

CAUTIONS: dict[str, tuple[str, ...]] = {
    "water": (
        "Sumps and tanks are confined spaces and drowning hazards: enter only under a permit, with the atmosphere "
        "tested and rescue at hand (such as OSHA 29 CFR 1910.146, MSHA 30 CFR 56/57, the UK Confined Spaces "
        "Regulations 1997).",
        "Turbidity and discharge figures are simulated: a discharge permit is met by sampling, not by this page.",
    ),
    "pumps": (
        "Isolate and lock out before work on a pump or line. A line that drains back turns a stopped pump backwards; "
        "pressure stays behind closed valves; a trip can send a surge through the line.",
        "Electrical work is for qualified persons.",
    ),
    "clarifier": (
        "Never enter or reach into a clarifier whose rake is not isolated and locked out: drive and bed hold energy "
        "after a stop. Tank, feedwell and the tunnel under the cone are confined spaces.",
        "A torque or bed level that is calm here says nothing of a real rake: the trip on the drive must be tested "
        "on site.",
    ),
    "dosing": (
        "Doses follow the water written in the plant file: find yours by jar test and bump test.",
        "Spilt polymer is extremely slippery when wet: absorb it first, do not hose. Coagulants are corrosive: eye "
        "protection and a shower within reach; never mix them with hypochlorite or alkali. Read the safety data "
        "sheets.",
    ),
    "mud": (
        "Mud cells look solid and are not. People and machines have been lost in them.",
        "The strength shown is never permission to enter, walk or drive on a cell: that takes a survey and a "
        "decision by a competent person on the day (such as the UK Quarries Regulations 1999, MSHA 30 CFR 56).",
    ),
    "control": (
        "Settings found here are starting points for a commissioning plan, to be confirmed by bump tests on site.",
    ),
}
"""By topic; each stands at the end of the figures it concerns."""

TOPIC_OF_KIND = {
    "source": "water", "supply": "water", "vessel": "water", "splitter": "water", "line": "pumps", "pump": "pumps",
    "clarifier": "clarifier", "doser": "dosing", "makedown": "dosing", "cell": "mud", "bank": "mud", "press": "mud",
}  # fmt: skip

TOPICS = {
    "water": "Wash plant and water",
    "pumps": "Pumps and lines",
    "clarifier": "Clarifier",
    "dosing": "Dosing",
    "mud": "Mud",
    "control": "Everything else",
}
"""Topic to heading, in the order of the page."""
