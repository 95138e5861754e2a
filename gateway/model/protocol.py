"""Examination protocols: which captures are expected, and by which rules an exam is called complete.

Protocols differ between schools, so they are data with their sources, and every judgement names the rules behind it.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from gateway.errors import Place
from gateway.model.capture import CaptureKind
from gateway.model.laterality import Eye
from gateway.model.measurement import MeasurementKind
from gateway.model.position import ClockHour, Scan, Zone


@dataclass(frozen=True, slots=True)
class ProtocolStep:
    """One expected capture.

    Parameters
    ----------
    id : str
        Short name by which captures refer to it, e.g. ``T12``.
    words : str
        What it shows.
    eye : Eye or None
        None where it is made in each eye.
    kind : CaptureKind or None
        None where a still or a loop will do.
    zones : tuple of Zone
        Depths that it may show; empty where the protocol leaves them open.
    is_required : bool
        Whether an exam by this protocol must have it.
    source : str
        Publication, or ``common practice``.
    place : Place or str
        Where the protocol states it.
    """

    id: str
    words: str
    scan: Scan
    clock_hour: ClockHour | None = None
    eye: Eye | None = None
    kind: CaptureKind | None = None
    zones: tuple[Zone, ...] = ()
    is_required: bool = False
    source: str = ""
    place: Place | str = ""


class Judged(StrEnum):
    """What a rule set judges: each eye that was examined, or each finding of certain kinds."""

    EYE = "eye"
    FINDING = "finding"


@dataclass(frozen=True, slots=True)
class Need:
    """One thing that must be there for an exam to be complete: a capture, or a measurement on one.

    Parameters
    ----------
    words : str
        What is missing where it is not met, e.g. ``inferior quadrant (T6)``.
    eye : Eye or None
        None where it is needed in each eye.
    scan : Scan or None
        Scan of the capture, or of the capture measured; None for any.
    clock_hour : ClockHour or None
        None for any.
    measurement : MeasurementKind or None
        None where the capture itself is what is needed.
    stills_in_each : tuple of tuple of Zone
        Where not empty, a loop meets the need, or stills with one zone out of each of these groups.
    """

    words: str
    eye: Eye | None = None
    scan: Scan | None = None
    clock_hour: ClockHour | None = None
    measurement: MeasurementKind | None = None
    stills_in_each: tuple[tuple[Zone, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class RuleSet:
    """Rules by which an eye, or a finding, is called completely examined.

    Parameters
    ----------
    name : str
        Unique within its protocol.
    findings : tuple of str
        Words of findings that are judged, where findings are.
    """

    name: str
    words: str
    judges: Judged
    needs: tuple[Need, ...]
    source: str
    findings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Protocol:
    """A protocol with its steps and rule sets."""

    name: str
    words: str
    source: str
    steps: tuple[ProtocolStep, ...]
    rule_sets: tuple[RuleSet, ...] = ()

    def step(self, step_id: str) -> ProtocolStep | None:
        """Return the step with this id, or None."""
        return next((step for step in self.steps if step.id == step_id), None)
