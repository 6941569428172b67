"""The kWh a firing drew, as far as its log and the kiln's condition tell."""

from analysis.assessment import Assessment


def drawn_kwh(said: Assessment) -> float | None:
    """Return the energy of a firing in kWh, or None where it cannot be told.

    ``Measures.energy_kwh`` reckons with the nameplate's power; a worn kiln at the same output draws less, by its
    power ratio. Where only a lower bound of that is known it is taken as 1.
    """
    full = said.measures.energy_kwh
    if full is None:
        return None
    return full * (said.power.value if said.power.value is not None else 1.0)
