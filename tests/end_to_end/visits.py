"""Delivering an exam folder to archives on loopback, as a program would, with the site's settings at hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from PIL import Image
from pydicom import Dataset, dcmread

from gateway.app import open_gateway
from gateway.pipeline.line import PreparedExam
from gateway.pipeline.queue import Delivery
from gateway.pipeline.study_record import Superseded
from gateway.settings import DestinationSettings, OverrideSettings, Settings, SiteSettings, StoreSettings
from gateway.transports.dimse.archive import LoopbackArchive

STILL = """\
  - id: {id}
    kind: still
    file: {file}
    eye: {eye}
    scan: transverse
    clock_hour: {clock_hour}
"""
HEAD = """\
format: eye-ultrasound-exam/1
synthetic: yes
patient: {patient}
{order}session:
  start: {start}
  institution: "Invented Island Eye Clinic"
  station: "US-1"
  device: {{maker: Invented maker, model: Workstation A}}
captures:
"""
PATIENT = '{id: "INV-1", issuer: "INVENTED", name: "Holm^Maija"}'


def still(name: str, *, file: str = "", eye: str = "right", clock_hour: object = 3) -> str:
    return STILL.format(id=name, file=file or f"{name}.png", eye=eye, clock_hour=clock_hour)


def write_exam(
    folder: Path,
    captures: Sequence[str],
    *,
    patient: str = PATIENT,
    order: str = "",
    start: str = "2026-03-02T09:30:00+01:00",
) -> Path:
    """Write the document of a visit; pictures are drawn beside it with `draw`."""
    folder.mkdir(parents=True, exist_ok=True)
    head = HEAD.format(patient=patient, start=start, order=f"order: {order}\n" if order else "")
    folder.joinpath("exam.yaml").write_text(head + "".join(captures), encoding="utf-8")
    return folder


def draw(folder: Path, name: str, seed: int) -> Path:
    """Draw noise of its own for each seed."""
    folder.mkdir(parents=True, exist_ok=True)
    noise = np.random.default_rng(seed).integers(0, 256, (24, 32), dtype=np.uint8)
    path = folder / name
    Image.fromarray(noise).save(path)
    return path


@dataclass
class Site:
    """One gateway's data folder and settings; `deliver` opens it anew each time, as each command does."""

    folder: Path
    archives: dict[str, LoopbackArchive]
    site: SiteSettings = field(default_factory=lambda: SiteSettings(single_eye_witness=True))
    overrides: dict[str, tuple[OverrideSettings, ...]] = field(default_factory=dict)

    @property
    def settings(self) -> Settings:
        destinations = tuple(
            DestinationSettings(
                name, "ARCHIVE", "127.0.0.1", archive.port, overrides=self.overrides.get(name, ()), first_retry_s=0.05
            )
            for name, archive in self.archives.items()
        )
        return Settings(self.site, StoreSettings(self.folder / "data"), destinations=destinations)

    def deliver(self, exam: Path, to: str = "a") -> Delivered:
        with open_gateway(self.settings) as gateway:
            destination = gateway.destination(to)
            prepared = gateway.prepare(exam, destination)
            deliveries = gateway.deliver(prepared, destination)
            return Delivered(prepared, deliveries, gateway.superseded(prepared, destination))

    def stored(self, archive: str = "a") -> dict[str, tuple[Path, int]]:
        """Every file of an archive with when it was written, by its name."""
        files = sorted(path for path in (self.folder / archive).rglob("*.dcm") if path.is_file())
        return {path.name: (path, path.stat().st_mtime_ns) for path in files}

    def objects(self, archive: str = "a") -> list[Dataset]:
        return [dcmread(path) for path, _written in self.stored(archive).values()]


@dataclass(frozen=True)
class Delivered:
    """What one delivery came to."""

    prepared: PreparedExam
    deliveries: tuple[Delivery, ...]
    superseded: tuple[Superseded, ...]

    @property
    def uids(self) -> dict[str, str]:
        """SOP Instance UID by capture id or kind of object."""
        return {i.built.capture_id or i.built.kind.value: i.built.sop_instance_uid for i in self.prepared.objects}


def changes(before: dict[str, tuple[Path, int]], after: dict[str, tuple[Path, int]]) -> list[Dataset]:
    """Return the objects that an archive has written between two looks, new ones and ones written again."""
    return [dcmread(path) for name, (path, written) in after.items() if before.get(name, (path, -1))[1] != written]
