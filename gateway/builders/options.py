"""What a site decides about the objects, and the identity under which the gateway writes them."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Final, Protocol

from gateway.model.destination_override import DestinationOverride

BUILDER_OUTPUT_VERSION: Final = 1
"""Grows whenever the bytes of any built object change.

It is part of every instance digest, so that an object that would come out otherwise gets another SOP Instance UID; the
package version is not, so that an upgrade alone changes nothing.
"""

IMPLEMENTATION_CLASS_UID: Final = "2.25.150778996196725805900195371990803210585"
"""PS3.7 D.3.3.2. Derived from a UUID (PS3.5 B.2), because the project has no registered root of its own."""
IMPLEMENTATION_VERSION_NAME: Final = f"EYEUSGW_{BUILDER_OUTPUT_VERSION}"

GATEWAY_MANUFACTURER: Final = "Eye ultrasound gateway project"
GATEWAY_MODEL_NAME: Final = "Eye ultrasound gateway"
GATEWAY_SOFTWARE_VERSIONS: Final = f"builder output {BUILDER_OUTPUT_VERSION}"


class SeriesBy(StrEnum):
    """How captures are gathered into series. A series never holds two eyes."""

    EYE_AND_KIND = "eye-and-kind"
    """At most four series: stills and loops of each eye."""
    POSITION = "position"
    """One series for each eye, kind, scan, clock hour and zone."""


class GeneralEquipment(StrEnum):
    """Who stands in General Equipment of images; the other stands in Contributing Equipment (PS3.3 C.12.1.1.5)."""

    DEVICE = "device"
    """The ultrasound device, as readers of images expect (common practice)."""
    GATEWAY = "gateway"
    """The creator of the instances: the reading of PS3.3 C.12.1.1.5 to the letter."""


@dataclass(frozen=True, slots=True)
class BuildOptions:
    """What a site decides about the objects.

    Parameters
    ----------
    series_by : SeriesBy
    uid_root : str
        The site's registered UID root without trailing dot; empty for ``2.25`` (PS3.5 B.2).
    snomed_extended : bool
        Whether the site holds a licence for SNOMED CT beyond the subset that DICOM carries: clock positions are then
        coded in SNOMED CT instead of private codes.
    general_equipment : GeneralEquipment
        For images; reports and documents always name the gateway.
    overrides : tuple of DestinationOverride
        What the destination that this variant is for reads otherwise; empty for the plain variant.
    """

    series_by: SeriesBy = SeriesBy.EYE_AND_KIND
    uid_root: str = ""
    snomed_extended: bool = False
    general_equipment: GeneralEquipment = GeneralEquipment.DEVICE
    overrides: tuple[DestinationOverride, ...] = ()


class CreationLedger(Protocol):
    """Remembers when each SOP Instance UID was first built, so that the same UID is the same bytes for ever."""

    def created(self, sop_instance_uid: str) -> datetime:
        """Return the stored moment at which this UID was first built, storing the present one if there is none.

        Returns
        -------
        datetime
            Aware, whole microseconds.
        """
        ...


@dataclass(frozen=True, slots=True)
class Predecessor:
    """The version of a report that another replaces; in the same study."""

    series_instance_uid: str
    sop_class_uid: str
    sop_instance_uid: str


@dataclass(frozen=True, slots=True)
class ReportVersion:
    """Which version of its report a document is: its number in its series, and the one it replaces.

    Parameters
    ----------
    content : str
        Digest of everything in the report but its number and predecessor.
    """

    content: str = ""
    instance_number: int = 1
    predecessor: Predecessor | None = None


class VersionLedger(Protocol):
    """Remembers the versions of a report that went out, so that a changed one can name what it replaces."""

    def version(self, sop_class_uid: str, content: str) -> ReportVersion:
        """Return the version that this content is.

        The latest version where its content is the same; else the next one, which replaces it.
        """
        ...


class FirstVersions:
    """A ledger that knows nothing: every report is the first of its kind."""

    def version(self, sop_class_uid: str, content: str) -> ReportVersion:
        """Return the first version."""
        return ReportVersion(content)


@dataclass(frozen=True, slots=True)
class BuildContext:
    """Where built objects go and under which rules.

    Parameters
    ----------
    options : BuildOptions
    ledger : CreationLedger
    folder : Path
        Receives one file for each object, named by its SOP Instance UID with suffix ``.dcm``.
    versions : VersionLedger
    """

    options: BuildOptions
    ledger: CreationLedger
    folder: Path
    versions: VersionLedger = field(default_factory=FirstVersions)

    def path_for(self, sop_instance_uid: str) -> Path:
        """Return where the object with this UID is written."""
        return self.folder / f"{sop_instance_uid}.dcm"
