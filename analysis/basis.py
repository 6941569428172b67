"""What a firing's judgement of the power rests on."""

from analysis.findings import Basis
from analysis.measures import Measures


def shows_power(measures: Measures) -> bool:
    """True if the firing says how large the full power is: amps or output logged, or a zone at full output."""
    if measures.full_current is not None:
        return True
    if measures.output in ("duty", "on-off"):
        return measures.heat is not None
    full_seen = measures.heat is not None and measures.heat.full_blocks > 0
    return full_seen or any(zone is not None for zone in measures.zone_heat)


def basis_of(measures: Measures) -> Basis:
    """The strongest thing this firing shows of the power."""
    if measures.full_current is not None:
        return "current"
    if shows_power(measures):
        return "duty" if measures.output in ("duty", "on-off") else "full-output climb"
    return "kept pace" if measures.kept is not None else "none"
