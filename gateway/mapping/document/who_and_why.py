"""Patient, order and session."""

from __future__ import annotations

from typing import Annotated

from pydantic import ConfigDict, Field

from gateway.mapping.document.base import CodeFields, Fields, PersonFields, ReasonFields
from gateway.mapping.document.captures import EyeWord
from gateway.mapping.local_times import TimeZone
from gateway.mapping.moments import Date, Moment, true_time
from gateway.mapping.scalars import HalfHours, Required64, Text16, Text64, Uid, matching, number, word_of
from gateway.model.order import Order, RequestedProcedure
from gateway.model.people import Patient, Sex
from gateway.model.position import ClockHour
from gateway.model.protocol import Protocol
from gateway.model.session import DeclaredSweep, Device, Probe, Session


class PatientFields(Fields):
    """The person examined."""

    # The reader refuses a document without identifier unless the site's settings say that the gateway makes one.
    model_config = ConfigDict(json_schema_extra={"dependentRequired": {"id": ["issuer"]}})

    id: Required64 | None = Field(
        None,
        description="Patient identifier, unique within its issuer. Left out only at a site without identifiers, whose "
        "settings say generate_patient_ids.",
        examples=["DEMO-0007"],
    )
    issuer: Required64 | None = Field(
        None, description="Who issued the identifier; required with it.", examples=["INVENTED-ISLAND-EYE-CLINIC"]
    )
    name: PersonFields = Field(description="The patient's name.", examples=["Holm^Maija"])
    birth_date: Date | None = Field(None, description="Date of birth.", examples=["1958-03-14"])
    sex: Annotated[Sex, word_of(Sex)] | None = Field(
        None, description="F female, M male, O other; left out where not known.", examples=["F"]
    )

    def to_model(self) -> Patient:
        """Return the patient."""
        return Patient(self.id or "", self.issuer or "", self.name.to_model(), self.birth_date, self.sex)


class ProcedureFields(Fields):
    """What was asked for."""

    id: Text16 | None = Field(None, description="Identifier of the requested procedure.", examples=["RP-1"])
    description: Text64 | None = Field(
        None, description="The procedure in words.", examples=["Ultrasound of both eyes"]
    )
    code: CodeFields | None = Field(None, description="The procedure as a code.")

    def to_model(self) -> RequestedProcedure:
        """Return the procedure."""
        return RequestedProcedure(self.id or "", self.description or "", self.code.to_model() if self.code else None)


class OrderFields(Fields):
    """The order that asked for the exam; all of it may be left out for work without an order."""

    accession_number: Text16 | None = Field(None, description="Number of the order.", examples=["A-1001"])
    requested_procedure: ProcedureFields | None = Field(None, description="What was asked for.")
    study_instance_uid: Uid | None = Field(
        None, description="UID of the study, where the order already gave one.", examples=["2.25.101"]
    )
    requesting_physician: PersonFields | None = Field(None, description="Who asked for the exam.")
    referring_physician: PersonFields | None = Field(None, description="Who referred the patient.")
    indication: ReasonFields | None = Field(None, description="Why the exam was asked for.")
    working_diagnosis: ReasonFields | None = Field(None, description="Diagnosis assumed before the exam.")

    def to_model(self) -> Order:
        """Return the order."""
        return Order(
            accession_number=self.accession_number or "",
            requested_procedure=self.requested_procedure.to_model()
            if self.requested_procedure
            else RequestedProcedure(),
            study_instance_uid=self.study_instance_uid or "",
            requesting_physician=self.requesting_physician.to_model() if self.requesting_physician else None,
            referring_physician=self.referring_physician.to_model() if self.referring_physician else None,
            indication=self.indication.to_model() if self.indication else None,
            working_diagnosis=self.working_diagnosis.to_model() if self.working_diagnosis else None,
        )


class DeviceFields(Fields):
    """The ultrasound device."""

    maker: Text64 | None = Field(None, description="Who made the device.", examples=["Invented Instruments"])
    model: Text64 | None = Field(None, description="Its model name.", examples=["Workstation A"])
    serial: Text64 | None = Field(None, description="Its serial number.", examples=["0104"])
    software: Text64 | None = Field(None, description="Version of its software.", examples=["1.10"])
    clock_ahead_s: Annotated[float, number(low=-86400, high=86400)] | None = Field(
        None,
        description="By how many seconds the device's clock ran ahead of true time (behind: a negative number). Every "
        "time of the document was read off that clock; objects carry the true time and say what the clock showed.",
        examples=[130],
    )


class ProbeFields(Fields):
    """The probe."""

    type: (
        Annotated[
            str,
            matching(
                "[A-Z0-9_][A-Z0-9_ ]{0,14}[A-Z0-9_]|[A-Z0-9_]",
                "this is not a transducer type",
                "use a term of PS3.3 C.8.5.6: SECTOR_MECH, SECTOR_ANNULAR, SECTOR_PHASED, LINEAR, CURVED LINEAR, "
                "SINGLE CRYSTAL",
            ),
        ]
        | None
    ) = Field(
        None,
        description="Transducer Type term (PS3.3 C.8.5.6); a mechanical sector probe is SECTOR_MECH.",
        examples=["SECTOR_MECH", "SECTOR_ANNULAR", "LINEAR", "SINGLE CRYSTAL"],
    )
    nominal_frequency_mhz: Annotated[float, number(above=0, high=200)] | None = Field(
        None, description="Nominal frequency in MHz.", examples=[10]
    )
    cycles: Annotated[float, number(above=0, high=100)] | None = Field(
        None,
        description="Length of the pulse in cycles of the nominal frequency, as its maker states it; axial resolution "
        "is half of it.",
        examples=[2],
    )
    bandwidth_mhz: Annotated[float, number(above=0, high=200)] | None = Field(
        None, description="Bandwidth in MHz, where the cycles are not known.", examples=[6]
    )


class DeclaredSweepFields(Fields):
    """A transverse sweep that was made and of which no picture was kept."""

    eye: EyeWord = Field(description="The patient's eye.", examples=["left"])
    clock_hour: HalfHours = Field(description="Clock hour in the middle of the sweep.", examples=[6])

    def to_model(self) -> DeclaredSweep:
        """Return the declaration."""
        return DeclaredSweep(self.eye, ClockHour(self.clock_hour))


class SessionFields(Fields):
    """When, where, by whom and with which device the exam was made."""

    start: Moment = Field(
        description="Start of the exam, with the offset from UTC that applied; without it where a time zone is stated.",
        examples=["2026-03-02T09:30:00+01:00"],
    )
    time_zone: TimeZone | None = Field(
        None,
        description="Zone of the times that state no offset, by its name in the IANA database. A time that its clocks "
        "showed twice is held.",
        examples=["Europe/Helsinki"],
    )
    examiner: PersonFields | None = Field(None, description="Who held the probe.", examples=["Lind^Tove"])
    performing_physician: PersonFields | None = Field(None, description="The physician responsible.")
    institution: Text64 | None = Field(None, description="Name of the clinic.", examples=["Invented Island Eye Clinic"])
    station: Text16 | None = Field(None, description="Name of the workstation.", examples=["US-1"])
    device: DeviceFields | None = Field(None, description="The ultrasound device.")
    probe: ProbeFields | None = Field(None, description="The probe.")
    visit: Text64 | None = Field(
        None, description="The site's own key where one patient is seen twice within a minute; usually left out."
    )
    protocol: Text64 | None = Field(
        None, description="Name of the protocol that was followed.", examples=["five-sweep-screening"]
    )
    declared_swept: list[DeclaredSweepFields] | None = Field(
        None, max_length=100, description="Sweeps that the examiner made and did not record."
    )

    def to_model(self, protocol: Protocol | None = None) -> Session:
        """Return the session; `protocol` is the one that it names."""
        device = self.device or DeviceFields()
        probe = self.probe or ProbeFields()
        return Session(
            start=true_time(self.start, device.clock_ahead_s),
            examiner=self.examiner.to_model() if self.examiner else None,
            performing_physician=self.performing_physician.to_model() if self.performing_physician else None,
            institution=self.institution or "",
            station=self.station or "",
            device=Device(
                device.maker or "",
                device.model or "",
                device.serial or "",
                device.software or "",
                device.clock_ahead_s or 0,
            ),
            probe=Probe(probe.type or "", probe.nominal_frequency_mhz, probe.cycles, probe.bandwidth_mhz),
            visit=self.visit or "",
            protocol=protocol,
            declared_swept=tuple(sweep.to_model() for sweep in self.declared_swept or ()),
        )
