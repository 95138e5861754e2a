"""What it costs to read a site's own folder of 500 bitmaps with a table beside them.

Run it with ``python -m tests.benchmarks.source_folder``; it prints, and asserts nothing about time.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from PIL import Image

from gateway.intake.source_folder import read_source_folder
from gateway.mapping.located.tree import LocatedDocument
from gateway.mapping.located.yaml_reader import read_yaml
from gateway.mapping.sources.reading import read_source_mapping

FILES = 500
MAPPING = """\
format: eye-ultrasound-source/1
name: benchmark
records:
  - {id: list, file: "*.csv", kind: csv, delimiter: ";", rows: {per: capture}, match: {field: Datei, to: file-name}}
media: {files: "*.bmp", names: "{eye}_{scan:letters}{hour:digits}_{*}.bmp"}
terms:
  eyes: {OD: right, OS: left, rechts: right, links: left}
  scans: {T: transverse, L: longitudinal}
rules:
  - {to: patient.id, from: {record: list, field: PatNr}}
  - {to: patient.issuer, from: {constant: INVENTED}}
  - {to: patient.name, from: {record: list, field: Name}}
  - {to: session.start, from: {constant: "2026-03-02T09:30:00+01:00"}}
  - {to: captures.eye, from: [{record: list, field: Auge}, {file_name: eye}], with: {terms: eyes}}
  - {to: captures.scan, from: {file_name: scan}, with: {terms: scans}}
  - {to: captures.clock_hour, from: {file_name: hour}}
  - {to: captures.gain_db, from: {record: list, field: Gain}}
"""


def write_folder(folder: Path) -> None:
    """Write the bitmaps, 640 by 480 as displays are, and the table."""
    noise = np.random.default_rng(1).integers(0, 256, (480, 640), dtype=np.uint8)
    lines = ["Datei;PatNr;Name;Auge;Gain"]
    for number in range(FILES):
        eye, word = ("OD", "rechts") if number % 2 else ("OS", "links")
        name = f"{eye}_{'TL'[number % 3 == 0]}{number % 12 + 1}_{number:04d}.bmp"
        Image.fromarray(np.roll(noise, number)).save(folder / name)
        lines.append(f"{name};INV-1;Holm^Maija;{word};{60 + number % 30}")
    folder.joinpath("list.csv").write_text("\n".join(lines), encoding="utf-8")


def main() -> None:
    """Print CPU time of names, records and rules alone, and of all with the media opened, each decoded once."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_folder(folder)
        start = time.process_time()
        mapping = read_source_mapping(LocatedDocument("site.yaml", read_yaml(MAPPING, "site.yaml")))
        read = time.process_time()
        (exam,) = read_source_folder(folder, mapping)
        end = time.process_time()
    sys.stdout.write(
        f"mapping read          {read - start:6.2f} s CPU\n"
        f"{len(exam.media)} of {FILES} files read   {end - read:6.2f} s CPU   (bar: under 2; {len(exam.held)} held)\n"
    )


if __name__ == "__main__":
    main()
