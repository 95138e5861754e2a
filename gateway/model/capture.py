"""Captures: one still or one loop of one eye at one place."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from gateway.model.a_scan import AScanLine, AScanSettings
from gateway.model.burned_in_text import BurnedInText
from gateway.model.calibration import Calibration
from gateway.model.laterality import Eye
from gateway.model.media import GreyWindow
from gateway.model.position import ProbePosition
from gateway.model.scan_lines import ScanLines
from gateway.model.witness import EyeWitness


class CaptureKind(StrEnum):
    """A picture or a movie."""

    STILL = "still"
    LOOP = "loop"


class Contact(StrEnum):
    """How the probe met the eye; it changes thickness readings and so comparability (common practice)."""

    ON_EYE = "on-eye"
    THROUGH_LID = "through-lid"
    IMMERSION = "immersion"


class LensStatus(StrEnum):
    """PS3.16 CID 4231."""

    CRYSTALLINE = "crystalline"
    APHAKIC = "aphakic"
    PSEUDOPHAKIC = "pseudophakic"
    PHAKIC_IMPLANT = "phakic-implant"
    PIGGYBACK_IMPLANT = "piggyback-implant"


class VitreousStatus(StrEnum):
    """PS3.16 CID 4232."""

    VITREOUS = "vitreous"
    POST_VITRECTOMY = "post-vitrectomy"
    SILICONE_OIL = "silicone-oil"
    GAS = "gas"


class ThermalIndexKind(StrEnum):
    """Which thermal index was displayed: bone, cranial, soft tissue (PS3.3 C.8.5.6)."""

    BONE = "TIB"
    CRANIAL = "TIC"
    SOFT_TISSUE = "TIS"


class CorrectableAttribute(StrEnum):
    """What an exam may say that a DICOM object states wrongly, by the attribute's keyword."""

    PATIENT_ID = "PatientID"
    PATIENT_ISSUER = "IssuerOfPatientID"
    PATIENT_NAME = "PatientName"
    BIRTH_DATE = "PatientBirthDate"
    SEX = "PatientSex"
    EYE = "ImageLaterality"
    """Wherever the object states it."""
    ACQUIRED = "AcquisitionDateTime"
    """Date and time of acquisition, in whichever attributes."""


@dataclass(frozen=True, slots=True)
class ThermalIndex:
    """A displayed thermal index and its kind."""

    kind: ThermalIndexKind
    value: float


@dataclass(frozen=True, slots=True)
class AcquisitionSettings:
    """What the device was set to. Everything unstated stays None; nothing is ever filled in."""

    contact: Contact | None = None
    couplant: str = ""
    """``gel`` and ``water`` have codes (PS3.16 CID 11002); other words travel as text."""
    anaesthetic: str = ""
    """``topical`` has a code; an agent's name or ``none`` travels as text."""
    gain_db: float | None = None
    display_gain_db: float | None = None
    """Change of gain after freezing: display only, the pixels are as acquired."""
    dynamic_range_db: float | None = None
    depth_mm: float | None = None
    mechanical_index: float | None = None
    thermal_index: ThermalIndex | None = None


@dataclass(frozen=True, slots=True)
class FrameTiming:
    """When the frames of a loop were taken: a constant rate or one time per frame, never both.

    Parameters
    ----------
    frame_rate_hz : float or None
        Frames per second where the source states a constant rate.
    frame_times_ms : tuple of float
        Time of each frame from the first, in milliseconds; the first is 0.
    """

    frame_rate_hz: float | None = None
    frame_times_ms: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class FrameRange:
    """Kept frames of the source loop, 1-based, both ends inclusive."""

    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Capture:
    """One still or loop as the exam states it; pixels are opened separately."""

    id: str
    kind: CaptureKind
    files: tuple[str, ...]
    """Media files relative to the exam folder: one, or the numbered frames of a loop in order."""
    eye: Eye
    position: ProbePosition
    acquired: datetime | None = None
    """Aware. None where only the session's start is known."""
    settings: AcquisitionSettings = AcquisitionSettings()
    calibration: Calibration | None = None
    timing: FrameTiming = FrameTiming()
    kept: FrameRange | None = None
    lens: LensStatus | None = None
    vitreous: VitreousStatus | None = None
    is_key_image: bool = False
    comment: str = ""
    number: int = 0
    """1-based place in the exam document, kept when other captures are held; 0 where there is no document."""
    a_scan: AScanSettings | None = None
    a_scan_lines: tuple[AScanLine, ...] = ()
    scan_lines: ScanLines | None = None
    """Where the file holds raw lines; `calibration` then follows from them once the file was opened."""
    burned_in_text: BurnedInText | None = None
    """None where nobody has looked."""
    eye_witnesses: tuple[EyeWitness, ...] = ()
    """Everything that named the eye; all of them say `eye`."""
    page: int | None = None
    """Which picture of a file with several a still is, from 1."""
    grey_window: GreyWindow | None = None
    """How grey of 16 bits becomes 8; None for the least and greatest level of the capture."""
    missing_frames: tuple[int, ...] = ()
    """Numbers that no file of a loop of numbered stills has, as the document admits."""
    protocol_step: str = ""
    """Step of the session's protocol that it was made for."""
    position_origin: str = ""
    """What of `position` was taken from the protocol, and from which step; empty where all of it was stated."""
    is_swept: bool = False
    """The operator says that this loop sweeps from the posterior pole to the ora serrata."""
    corrects: tuple[CorrectableAttribute, ...] = ()
    """What the exam knows to be wrong in the capture's DICOM object."""
