"""The kWh a firing drew, as far as its log and the kiln's condition tell."""

from analysis.assessment import Assessment


def drawn_kwh(said: Assessment) -> float | None:
    """Return the energy of a firing in kWh, or None where it cannot be told.

    The assessment has already weighed it with the kiln's power (a worn kiln at the same output draws less); pages,
    tables and the firing's record all show that one number.
    """
    return said.measures.energy_kwh
