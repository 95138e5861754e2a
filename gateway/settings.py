"""Settings as plain values: what each is, its unit, its default and why; `config_file` reads, `app` passes down."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import ClassVar


@dataclass(frozen=True, slots=True)
class SiteSettings:
    """What this site decides about its objects."""

    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    uid_root: str = ""
    """Registered UID root for everything the gateway makes; empty: 2.25 and a UUID, which needs no registration."""
    series_by: str = "eye-and-kind"
    """``eye-and-kind`` makes one series for each eye's stills and loops; ``position`` one for each place scanned, so
    that a plain series list shows where pictures were taken."""
    general_equipment: str = "device"
    """Whom images name as their equipment: ``device`` (what archives show as the scanner) or ``gateway`` (the letter
    of PS3.3 C.12.1.1.5 for objects made from another device's output)."""
    snomed_extended: bool = False
    """Use SNOMED CT codes outside the subset that DICOM licenses (clock positions). Needs the site's own licence."""
    speeds: str = ""
    """The site's own table of speeds of sound, a YAML file; empty: the shipped one."""
    repeatability: str = ""
    """The site's own table of repeatability, a YAML file; empty: the shipped, published figures."""
    mapping: str = ""
    """The site's source mapping, a YAML file, for folders without an exam document; empty: there are none."""
    protocols: str = ""
    """Folder of the site's own examination protocols, beside the shipped ones; empty: those alone."""
    single_eye_witness: bool = False
    """Accept an eye that one source alone names. Off, because nothing in a picture shows that a line was slipped; on,
    every report says so."""
    issuer: str = ""
    """Whom the site names as issuer of the patient identifiers that the gateway makes for it."""
    generate_patient_ids: bool = False
    """Make an identifier under `issuer` for a patient whose exam states none; without it, that is an error."""
    time_zone: str = ""
    """Zone of times that state no offset, by its name in the IANA database, e.g. ``Europe/Helsinki``; empty: such times
    are refused. An exam document's own ``session.time_zone`` comes first."""


@dataclass(frozen=True, slots=True)
class StoreSettings:
    """Where the gateway keeps its own data."""

    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    data_folder: Path = Path("gateway-data")
    """Database and spool; holds patient data, so it is made readable to its owner only."""


@dataclass(frozen=True, slots=True)
class NetworkSettings:
    """How the gateway presents itself on the network."""

    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    ae_title: str = "EYEGATEWAY"
    """Application Entity title of this gateway, at most 16 characters."""
    listen_host: str = "127.0.0.1"
    """Address on which commitment reports are awaited; loopback unless a site opens it."""
    listen_port: int = 0
    """Port for commitment reports that an archive sends on an association of its own; 0: not awaited there."""


@dataclass(frozen=True, slots=True)
class OverrideSettings:
    """One attribute that a destination gets with a value of its own; which ones may is a list in `builders`."""

    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    attribute: str
    """Keyword of PS3.6, e.g. ``InstitutionName``."""
    value: str
    because: str
    """Why; it is kept with the origin of the value."""


@dataclass(frozen=True, slots=True)
class DestinationSettings:
    """One archive that exams are delivered to."""

    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    name: str
    ae_title: str
    host: str
    port: int
    storage_commitment: bool = True
    """Whether the archive offers Storage Commitment; where it does not, a query that lists every instance is the proof
    that remains."""
    commitment_wait_s: float = 60.0
    """How long to wait for the commitment report before asking again."""
    attempts: int = 5
    """Tries for a temporary failure before a delivery is left for a person."""
    first_retry_s: float = 2.0
    """Pause before the second try; doubles each time, with jitter, up to five minutes."""
    overrides: tuple[OverrideSettings, ...] = ()
    """Attributes that this destination gets with values of its own, in objects with UIDs of their own."""


@dataclass(frozen=True, slots=True)
class Settings:
    """Everything that can be set."""

    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    site: SiteSettings = field(default_factory=SiteSettings)
    store: StoreSettings = field(default_factory=StoreSettings)
    network: NetworkSettings = field(default_factory=NetworkSettings)
    destinations: tuple[DestinationSettings, ...] = ()
