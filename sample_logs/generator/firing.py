"""One firing from switching on to the end of the log: controller, relays, elements, chamber, thermocouples."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from generator.chamber import Body, Chamber, Load
from generator.controller import CYCLE_S, Controller, Programme
from generator.supply import supply
from generator.wire import Circuit

FloatArray = NDArray[np.float64]
THERMOCOUPLE_LAG_S = 45.0
LONGEST_S = 44.0 * 3600.0
VENT_OPEN_BELOW_C = 500.0
VENT_W_PER_K = 0.6


@dataclass(frozen=True, slots=True)
class Conditions:
    """What differs from one firing of a kiln to the next.

    ``aged`` is cold resistance over as-new by circuit; ``dead`` the circuits that do not heat; ``stop_at_c`` where
    somebody presses stop; ``log_until_c`` or ``log_for_h`` ends the log while the kiln cools.
    """

    programme: Programme
    load: Load
    share: tuple[float, ...]
    aged: tuple[float, ...]
    dead: frozenset[str]
    start_hour: float
    start_c: float
    room_c: float
    supply_level: float
    stop_at_c: float | None = None
    log_until_c: float = 400.0
    log_for_h: float = 9.0


@dataclass(frozen=True, slots=True)
class Firing:
    """Samples as the controller knows them, every ``sample_s``. Set point 0 once the heating has ended."""

    elapsed_s: FloatArray
    zone_c: FloatArray
    set_point_c: FloatArray
    output: FloatArray
    segment: NDArray[np.int_]
    ended: str
    heating_s: float
    energy_kwh: float
    supply_at_top: float


def fire(
    body: Body, circuits: tuple[Circuit, ...], conditions: Conditions, rng: np.random.Generator, *, sample_s: float
) -> Firing:
    """Simulate one firing. ``sample_s`` is a whole number of relay cycles."""
    zones = body.zones
    cycles = int(LONGEST_S / CYCLE_S)
    volts = supply(rng, conditions.start_hour, cycles, CYCLE_S, level=conditions.supply_level)
    chamber = Chamber(
        body, conditions.load, np.array(conditions.share), start_c=conditions.start_c, room_c=conditions.room_c
    )
    controller = Controller(conditions.programme, conditions.start_c, zones)
    tip_c = np.full(zones, conditions.start_c)
    follow = 1.0 - np.exp(-CYCLE_S / THERMOCOUPLE_LAG_S)
    every = round(sample_s / CYCLE_S)
    rows: list[tuple[float, FloatArray, float, FloatArray, int]] = []
    since_row = np.zeros(zones)
    heating_s = joules = 0.0
    hot_supply: list[float] = []
    for cycle in range(cycles):
        read_c = tip_c + rng.normal(0.0, 0.5, zones)
        if conditions.stop_at_c is not None and controller.ended is None and read_c.max() >= conditions.stop_at_c:
            controller.stop("stopped by hand")
        duty = controller.cycle(read_c)
        if cycle % every == 0:
            output = since_row / every if cycle else duty
            set_point = controller.set_point_c if controller.set_point_c is not None else 0.0
            rows.append((cycle * CYCLE_S, read_c, set_point, output, controller.segment + 1))
            since_row = np.zeros(zones)
            if controller.ended is not None and (
                tip_c.mean() < conditions.log_until_c or cycle * CYCLE_S - heating_s > conditions.log_for_h * 3600.0
            ):
                break
        since_row = since_row + duty
        watts = np.zeros(zones)
        for circuit, aged in zip(circuits, conditions.aged, strict=True):
            if circuit.name not in conditions.dead:
                watts[circuit.zone] += duty[circuit.zone] * circuit.watts(
                    supply=float(volts[cycle]), wire_c=float(chamber.element_c[circuit.zone]), aged=aged
                )
        vent = VENT_W_PER_K if tip_c.mean() < VENT_OPEN_BELOW_C and controller.ended is None else 0.0
        chamber.step(watts, CYCLE_S, venting_w_per_k=vent)
        tip_c = tip_c + follow * (chamber.at_thermocouples_c() - tip_c)
        joules += float(watts.sum()) * CYCLE_S
        if controller.ended is None:
            heating_s = (cycle + 1) * CYCLE_S
            if tip_c.max() > conditions.programme.peak_c - 150.0:
                hot_supply.append(float(volts[cycle]))
    top = hot_supply or [float(volts[: int(heating_s / CYCLE_S) + 1].mean())]
    return Firing(
        elapsed_s=np.array([row[0] for row in rows]),
        zone_c=np.array([row[1] for row in rows]),
        set_point_c=np.array([row[2] for row in rows]),
        output=np.array([row[3] for row in rows]),
        segment=np.array([row[4] for row in rows]),
        ended=controller.ended or "log ended",
        heating_s=heating_s,
        energy_kwh=joules / 3.6e6,
        supply_at_top=float(np.mean(top)),
    )
