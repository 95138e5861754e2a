"""What one destination wants to read otherwise than the rest of the world."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class DestinationOverride:
    """One attribute that one destination gets with a value of its own.

    Parameters
    ----------
    destination : str
        Name of the destination in the settings.
    attribute : str
        Keyword of PS3.6; of an attribute in the one item of a sequence, both keywords with a dot between.
    value : str
        As it is written into the object.
    because : str
        The site's reason, kept with the value's origin.
    """

    destination: str
    attribute: str
    value: str
    because: str
