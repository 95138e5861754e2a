"""Everything that a structured report holds, in its own order, for reading: what is understood and what is not."""

from __future__ import annotations

from dataclasses import dataclass

from gateway.model.prior import PriorReport


@dataclass(frozen=True, slots=True)
class OutlineItem:
    """One content item as a person reads it.

    Parameters
    ----------
    depth : int
        0 for the root.
    not_understood : str
        Why it is shown as far as it goes only; empty where all of it is said.
    """

    depth: int
    name: str
    value: str
    not_understood: str = ""


@dataclass(frozen=True, slots=True)
class ReportOutline:
    """A report.

    Parameters
    ----------
    prior : PriorReport
        Its measurement groups, as far as they are understood.
    header : tuple of (str, str)
        Label and text: whose it is, from when, by which device, complete and verified or not.
    notes : tuple of str
        What could not be read at all.
    """

    prior: PriorReport
    header: tuple[tuple[str, str], ...]
    items: tuple[OutlineItem, ...]
    notes: tuple[str, ...] = ()
