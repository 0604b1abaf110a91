"""Does the description of a bay hold together? Contradictions, and remarks on practice."""

from __future__ import annotations

from ventcalc.storage import Bay

__all__ = ["contradictions"]


def contradictions(bay: Bay) -> tuple[str, ...]:
    """
    Find what cannot be true of one bay at once.

    Parameters
    ----------
    bay : Bay
        The bay.

    Returns
    -------
    tuple of str
        One line each; empty when the description holds together.
    """
    problems = []
    if bay.mass > bay.pile.capacity * (1 + 1e-6):
        problems.append("lots: more crop than a full pile holds")
    return tuple(problems)
