"""What the report says: ready-to-show text, in the order in which it is read. Every rendering shows these texts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from gateway.model.calibration import Point
from gateway.model.laterality import Eye
from gateway.model.position import ClockHour, Scan, Zone
from gateway.reports.pictures import Picture


@dataclass(frozen=True, slots=True)
class Line:
    """A label and what stands beside it."""

    label: str
    text: str


@dataclass(frozen=True, slots=True)
class PatientName:
    """The patient's name as people read it, in up to three representations."""

    alphabetic: str
    ideographic: str = ""
    phonetic: str = ""


@dataclass(frozen=True, slots=True)
class CaliperLine:
    """A measurement's points on a picture, in pixels of the acquired picture (CORNER convention)."""

    measurement_id: str
    points: tuple[Point, ...]
    is_closed: bool = False


@dataclass(frozen=True, slots=True)
class ProbeMark:
    """Where a capture stands on the chart of its eye."""

    scan: Scan
    clock_hour: ClockHour | None
    zone: Zone | None


@dataclass(frozen=True, slots=True)
class CaptureCard:
    """One capture.

    Parameters
    ----------
    number : int
        Its number in this report and in the exam.
    position, side : str
        Where the probe looked, and which side of the eye that is; `side` is empty without a clock hour.
    shown : str
        What of it is printed here, e.g. ``loop of 36 frames, frame 19 shown``.
    acquired : str
        Time of day, with the date where it is not the session's.
    annotations : tuple of str
        What was drawn on it, in words, e.g. ``arrow “apex”, frame 18``.
    details : tuple of str
        Probe marker, gaze, contact, state of the eye, settings of the device; what all captures of the eye share is
        said once, in `EyeSection.shared_details`.
    """

    id: str
    number: int
    eye: Eye
    eye_words: str
    position: str
    side: str
    shown: str
    acquired: str
    details: tuple[str, ...]
    comment: str
    annotations: tuple[str, ...]
    is_key_image: bool
    alternative_text: str
    mark: ProbeMark
    eye_basis: str = ""
    """On what its eye rests, e.g. ``right: record and file name agree``."""
    is_eye_of_one_witness: bool = False
    position_origin: str = ""
    """What of its position was taken from the protocol."""
    picture: Picture | None = None
    calipers: tuple[CaliperLine, ...] = ()


@dataclass(frozen=True, slots=True)
class LengthRow:
    """A length by a named method beside the displayed one.

    Parameters
    ----------
    method : str
        The method, always shown with the value.
    basis : str
        Equation with its numbers, segments with their speeds, publication.
    remarks : tuple of str
        What was not stated, and what the length is not for.
    is_the_value : bool
        Whether it is the measurement's own value, said how it came about, rather than a second one.
    """

    value: str
    uncertainty: str
    method: str
    basis: str
    remarks: tuple[str, ...]
    is_the_value: bool = False


@dataclass(frozen=True, slots=True)
class MeasurementRow:
    """One measurement.

    Parameters
    ----------
    value : str
        The displayed value, its digits untouched.
    corrected : str
        The value for another speed of sound, empty where there is none.
    speed : str
        Speed of sound behind `value`, and the one behind `corrected`.
    uncertainty, corrected_uncertainty : str
        What stands beside either value, e.g. ``± 0.06 mm``; empty where none was worked out.
    not_corrected : str
        Why there is no corrected value where one was asked for.
    lengths : tuple of LengthRow
        Lengths by named methods, each for itself.
    """

    id: str
    eye: Eye
    what: str
    finding: str
    place: str
    picture: str
    value: str
    uncertainty: str
    corrected: str
    corrected_uncertainty: str
    speed: str
    formula: str
    how: str
    not_corrected: str
    repeats: str
    measured_by: str
    comment: str
    lengths: tuple[LengthRow, ...] = ()


@dataclass(frozen=True, slots=True)
class FindingRow:
    """One finding of one eye; `presence` is said in words, also where it is 'not shown'."""

    id: str
    eye: Eye
    what: str
    presence: str
    place: str
    pictures: str
    comment: str


@dataclass(frozen=True, slots=True)
class CoverageShape:
    """A ring sector of the chart of one eye.

    Parameters
    ----------
    shade : str
        ``declared``, ``in-field`` or ``centred``.
    first_hour, last_hour : float
        On the dial, clockwise; may lie below 0 or above 12.
    inner_deg, outer_deg : float
        Angles from the posterior pole.
    """

    shade: str
    first_hour: float
    last_hour: float
    inner_deg: float
    outer_deg: float


@dataclass(frozen=True, slots=True)
class JudgementRow:
    """What one rule set says about one eye or finding; `missing` names what it needs and the exam has not."""

    rules: str
    subject: str
    verdict: str
    missing: tuple[str, ...]
    source: str


@dataclass(frozen=True, slots=True)
class EyeCoverageText:
    """What is shown of one eye: one line for each depth, judgements, and the shapes on the chart."""

    lines: tuple[str, ...] = ()
    judgements: tuple[JudgementRow, ...] = ()
    missing_steps: str = ""
    not_judged: str = ""
    shapes: tuple[CoverageShape, ...] = ()


@dataclass(frozen=True, slots=True)
class PlottedPeak:
    """A peak that is offered, with its place on the plot and in words; `time` is empty without a time axis."""

    number: int
    depth_mm: float
    height: float
    depth: str
    time: str
    prominence: str

    @property
    def words(self) -> str:
        """Place and prominence in one line."""
        return f"{', '.join(part for part in (self.depth, self.time) if part)}, stands out by {self.prominence}"


@dataclass(frozen=True, slots=True)
class AScanPlot:
    """What an A-scan's drawing shows.

    Parameters
    ----------
    depth_mm, amplitude : tuple of float
        The curve, as many points as can be seen.
    lowest, highest : float
        Ends of the amplitude's axis.
    end_us : float or None
        Round-trip time at the end of the depth axis; None where there is no time axis.
    """

    depth_mm: tuple[float, ...]
    amplitude: tuple[float, ...]
    lowest: float
    highest: float
    end_us: float | None
    depth_label: str
    time_label: str
    amplitude_label: str
    peaks: tuple[PlottedPeak, ...]


@dataclass(frozen=True, slots=True)
class AScanCard:
    """One A-scan: a plot beside the picture with its line.

    Parameters
    ----------
    alternative_text, picture_text : str
        Plot and picture for readers who do not see them.
    line : tuple of Point
        In pixels of the acquired picture (CORNER convention); empty for samples.
    """

    title: str
    caption: str
    alternative_text: str
    picture_text: str
    plot: AScanPlot
    peaks: tuple[PlottedPeak, ...]
    picture: Picture | None = None
    line: tuple[Point, ...] = ()


@dataclass(frozen=True, slots=True)
class EchoRow:
    """What a standardized A-scan tells of one structure; `in_class` is empty for a difference in decibels."""

    structure: str
    value: str
    in_class: str
    sensitivity: str
    picture: str
    scheme: str


@dataclass(frozen=True, slots=True)
class EyeSection:
    """Everything about one eye; `words` names it in full, e.g. ``Right eye (OD)``."""

    eye: Eye
    words: str
    captures: tuple[CaptureCard, ...]
    shared_details: tuple[str, ...]
    findings: tuple[FindingRow, ...]
    not_shown: tuple[FindingRow, ...]
    measurements: tuple[MeasurementRow, ...]
    nothing: str
    """Said where the exam has no picture of this eye; otherwise empty."""
    coverage: EyeCoverageText = EyeCoverageText()
    echoes: tuple[EchoRow, ...] = ()
    a_scans: tuple[AScanCard, ...] = ()


@dataclass(frozen=True, slots=True)
class HeldRow:
    """A part that was set aside, and why."""

    part: str
    reason: str
    fix: str
    code: str


@dataclass(frozen=True, slots=True)
class OutputLine:
    """A displayed index of acoustic output; `is_high` where it stands above the level for the eye."""

    text: str
    is_high: bool


@dataclass(frozen=True, slots=True)
class Report:
    """The whole report.

    Parameters
    ----------
    language : str
        RFC 5646 tag of the exam's own words; labels and statements are English.
    created : datetime
        Aware; the session's start, so that the same exam gives the same bytes.
    status : str
        Whether a physician has verified it.
    invented : str
        Statement that the data are invented, empty for a real exam.
    right, left : EyeSection
    """

    title: str
    exam_key: str
    language: str
    created: datetime
    status: str
    invented: str
    name: PatientName
    identity: str
    patient: tuple[Line, ...]
    order: tuple[Line, ...]
    session: tuple[Line, ...]
    cautions: tuple[str, ...]
    right: EyeSection
    left: EyeSection
    uncertainty_notes: tuple[str, ...]
    speed_sources: tuple[str, ...]
    chart_legend: str
    held: tuple[HeldRow, ...]
    output: tuple[OutputLine, ...]
    notes: tuple[str, ...]
    identifiers: tuple[Line, ...]
    echo_notes: tuple[str, ...] = ()
    """Schemes of classes that the reflectivities of the report use."""
    a_scan_note: str = ""

    @property
    def eyes(self) -> tuple[EyeSection, EyeSection]:
        """Right eye first, as it stands on the left half of every page."""
        return self.right, self.left

    @property
    def captures(self) -> tuple[CaptureCard, ...]:
        """Every capture, right eye first."""
        return (*self.right.captures, *self.left.captures)
