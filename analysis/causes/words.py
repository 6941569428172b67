"""For each cause the measurement that decides it, and the first thing to look at, in one short sentence each."""

from analysis.findings import Cause

DECIDING: dict[Cause, str] = {
    "element_ageing": "Measure each circuit cold and compare with its ohms as new: an aged set reads higher in all.",
    "open_element": "Measure the circuit cold: one open element of a parallel pair doubles its ohms.",
    "open_circuit": "Measure the circuit cold: normal ohms point to relay, fuse or wiring, none to its elements.",
    "lost_phase": "With the power on, a licensed person measures the volts between each pair of supply lines.",
    "loose_connection": "Look at and pull gently on every terminal of the zone, isolated and cold.",
    "welded_contact": "Measure across the relay's contacts with the control off: they must read open.",
    "low_supply": "With every zone at full output, a licensed person measures the volts at the kiln.",
    "thermocouple_drift": "Fire witness cones in each zone, or read a second thermocouple beside the suspect one.",
    "thermocouple_fault": "Move the thermocouple's leads gently while someone watches the reading.",
    "heat_leak": "Look for light round the lid or door with a lamp inside the cold kiln.",
    "heavy_load": "Compare with the next firing with a usual load.",
    "programme_change": "Nothing to measure: the next firings of the programme become its own comparison.",
    "aborted_firing": "Nothing to measure: fire the programme to its end.",
    "incomplete_log": "Nothing to measure: export the log again once the kiln has cooled.",
}

INSPECTION: dict[Cause, str] = {
    "element_ageing": "Measure the resistance of each circuit cold.",
    "open_element": "Look for the broken element, then measure its circuit cold.",
    "open_circuit": "Measure the circuit cold, then check its relay and fuse.",
    "lost_phase": "Check the supply fuses and breaker.",
    "loose_connection": "Check the terminals and wires of the zone for burning and looseness.",
    "welded_contact": "Do not fire; test whether the relay opens.",
    "low_supply": "Have the supply voltage measured under load.",
    "thermocouple_drift": "Check the thermocouple against cones.",
    "thermocouple_fault": "Check the thermocouple and its connections.",
    "heat_leak": "Check the lid or door, seals and brickwork.",
    "heavy_load": "None; note the load.",
    "programme_change": "None.",
    "aborted_firing": "None.",
    "incomplete_log": "None; export the log again.",
}
