"""What an exam's measurement report says, whoever wrote it: the form in which exams are compared."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from gateway.model.capture import Contact
from gateway.model.coded import CodedConcept
from gateway.model.laterality import Eye
from gateway.model.measurement import MeasurementKind, unit_words
from gateway.model.position import ClockHour, Zone


@dataclass(frozen=True, slots=True)
class PriorMeasurement:
    """One number of a report with everything that decides what it may be compared with.

    Parameters
    ----------
    name : CodedConcept
        What was measured, as the report codes it.
    value : float
    unit : str
        As UCUM writes it.
    text : str
        The digits as the report holds them.
    words : str
        What was measured, as a person reads it.
    kind : MeasurementKind or None
        None where the report's code and words are none of the project's kinds.
    structure : str
        Word of concepts group ``structure``, or the report's own words; empty where it names none.
    direction : str
        Scan of the picture measured on (``transverse``, ``longitudinal``, ...), empty where not known.
    method, derivation : CodedConcept or None
    is_corrected : bool
        Whether the number was corrected for another speed of sound than the device assumed.
    speed_m_per_s : float or None
        The speed of sound that the number rests on.
    assumed_speed_m_per_s : float or None
        Of a corrected number: the speed that it was corrected from.
    formula : str
        How it was computed, where the report says so.
    contact : Contact or None
        How the probe met the eye, where the report tells.
    tracking_identifier, tracking_uid : str
    tissue_sensitivity_db : float or None
        Of a reflectivity or a difference of echoes: the gain at which it holds.
    reference : str
        Of a difference of echoes: the structure that was compared with.
    """

    name: CodedConcept
    value: float
    unit: str
    text: str
    words: str
    kind: MeasurementKind | None = None
    structure: str = ""
    direction: str = ""
    method: CodedConcept | None = None
    derivation: CodedConcept | None = None
    is_corrected: bool = False
    speed_m_per_s: float | None = None
    assumed_speed_m_per_s: float | None = None
    formula: str = ""
    contact: Contact | None = None
    tracking_identifier: str = ""
    tracking_uid: str = ""
    tissue_sensitivity_db: float | None = None
    reference: str = ""

    @property
    def shown(self) -> str:
        """Number and unit with the digits of the report."""
        return f"{self.text or format(self.value, 'g')} {unit_words(self.unit)}".rstrip()


@dataclass(frozen=True, slots=True)
class PriorGroup:
    """A finding, or a measured structure, with its numbers (PS3.16 TID 1501).

    Parameters
    ----------
    finding : str
        What was found, in words; empty for a structure that was only measured.
    presence : str
        ``present``, or what else the report says of the finding.
    eye : Eye or None
        None where the report names no single eye; such a group is compared by its tracking UID alone.
    """

    tracking_identifier: str = ""
    tracking_uid: str = ""
    finding: str = ""
    finding_code: CodedConcept | None = None
    presence: str = "present"
    eye: Eye | None = None
    structure: str = ""
    clock_hour: ClockHour | None = None
    zone: Zone | None = None
    measurements: tuple[PriorMeasurement, ...] = ()

    @property
    def place(self) -> str:
        """Eye, structure, clock hour and zone in words."""
        parts = (
            f"{self.eye.value} eye" if self.eye else "",
            self.structure.replace("-", " "),
            self.clock_hour.words if self.clock_hour else "",
            self.zone.words if self.zone else "",
        )
        return ", ".join(part for part in parts if part)

    @property
    def words(self) -> str:
        """The finding and its place as a person reads it."""
        said = self.finding if self.presence == "present" or not self.finding else f"{self.presence}: {self.finding}"
        return ", ".join(part for part in (said, self.place) if part) or self.tracking_identifier or "no place stated"


@dataclass(frozen=True, slots=True)
class UnreadItem:
    """Something in a report that was left aside, and why.

    Parameters
    ----------
    where : str
        Names of the items above it and its own.
    """

    where: str
    note: str


@dataclass(frozen=True, slots=True)
class PriorReport:
    """The measurement report of one visit.

    Parameters
    ----------
    when : datetime or None
        Local date and time of the visit, without offset; None where the report gives no date.
    patient_id, patient_issuer : str
    device : str
        The device that made the pictures or the report, in words.
    source : str
        The file or exam that it was read from.
    written : datetime or None
        When the report itself was written; of two reports of one study the later one counts.
    """

    study_uid: str
    when: datetime | None
    patient_id: str
    patient_issuer: str
    device: str = ""
    groups: tuple[PriorGroup, ...] = ()
    unread: tuple[UnreadItem, ...] = ()
    source: str = ""
    written: datetime | None = None
