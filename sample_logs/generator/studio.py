"""Tidewrack Clay Studio (invented): its three kilns and their programmes."""

from dataclasses import dataclass

from generator.chamber import Body
from generator.controller import Programme, Segment
from generator.wire import Circuit

TIME_ZONE = "Europe/Dublin"


@dataclass(frozen=True, slots=True)
class SampleKiln:
    """A kiln of the studio: how it is built and how its controller logs.

    ``life_firings`` is a set's life in firings to 1285 C, ``life_used`` the share used before the first log;
    ``supply_level`` the usual supply over the nameplate's volts.
    """

    id: str
    body: Body
    circuits: tuple[Circuit, ...]
    sample_s: float
    life_firings: float
    life_used: float
    supply_level: float
    load_share: tuple[float, ...]


# One zone, two circuits of two elements in parallel: 2 x 2750 W at 230 V.
JUNIPER = SampleKiln(
    id="juniper",
    body=Body(inner_radius_m=0.22, height_m=0.49, brick_m=0.075, zones=1, element_m2=0.26, opening_m2=0.0003),
    circuits=(Circuit("upper", 0, 19.24, 230.0), Circuit("lower", 0, 19.24, 230.0)),
    sample_s=60.0,
    life_firings=300.0,
    life_used=0.25,
    supply_level=1.005,
    load_share=(1.0,),
)

# Three zones, each one circuit of two elements in parallel; the end zones are stronger, for the lid and the floor.
HERON = SampleKiln(
    id="heron",
    body=Body(inner_radius_m=0.29, height_m=0.69, brick_m=0.075, zones=3, element_m2=0.14, opening_m2=0.0003),
    circuits=(Circuit("top", 0, 15.6, 230.0), Circuit("middle", 1, 18.9, 230.0), Circuit("bottom", 2, 15.6, 230.0)),
    sample_s=60.0,
    life_firings=45.0,
    life_used=0.42,
    supply_level=1.0,
    load_share=(0.33, 0.34, 0.33),
)

# One zone on a three-phase delta, one circuit of two elements in series between each pair of lines: 3 x 5 kW at 400 V.
THRIFT = SampleKiln(
    id="thrift",
    body=Body(inner_radius_m=0.35, height_m=0.78, brick_m=0.075, zones=1, element_m2=0.70, opening_m2=0.0006),
    circuits=(Circuit("A", 0, 32.0, 400.0), Circuit("B", 0, 32.0, 400.0), Circuit("C", 0, 32.0, 400.0)),
    sample_s=60.0,
    life_firings=400.0,
    life_used=0.10,
    supply_level=0.99,
    load_share=(1.0,),
)

KILNS = {kiln.id: kiln for kiln in (JUNIPER, HERON, THRIFT)}

# Ramps in deg C per hour. The last ramps of 60 and 80 and the quick middle ramps are what published schedules give.
PROGRAMMES = {
    programme.name: programme
    for programme in (
        Programme("bisque 1000", (Segment(60, 120, 30), Segment(110, 600), Segment(150, 900), Segment(60, 1000, 10))),
        Programme("bisque 1060", (Segment(60, 120, 60), Segment(110, 600), Segment(120, 960), Segment(60, 1060, 15))),
        Programme("glaze 1222", (Segment(100, 200), Segment(180, 1100), Segment(60, 1222, 10))),
        Programme("glaze 1285", (Segment(100, 120, 10), Segment(160, 1050), Segment(60, 1285, 10))),
        Programme("glaze quick", (Segment(60, 105), Segment(194, 1093), Segment(83, 1222, 10))),
        Programme(
            "glaze slow cool",
            (Segment(60, 105), Segment(194, 1093), Segment(83, 1222, 15), Segment(-200, 1010, 30), Segment(-75, 800)),
        ),
        Programme("first firing 1050", (Segment(100, 600), Segment(100, 1050, 420))),
    )
}
