"""What a small still and a small loop look like today; ``python -m tests.golden.images`` writes it down anew."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path

from pydicom import dcmread

from gateway.builders.options import BUILDER_OUTPUT_VERSION
from tests.unit.builders.invented_captures import FULL_EXAM, FULL_LOOP, FULL_STILL, build

RECORD = Path(__file__).with_name("images.json")


def present() -> dict[str, object]:
    """Build both and return digest and attributes (DICOM JSON, PS3.18 F) of each."""
    record: dict[str, object] = {"builder_output_version": BUILDER_OUTPUT_VERSION}
    with tempfile.TemporaryDirectory() as folder:
        for name, capture in (("still", FULL_STILL), ("loop", FULL_LOOP)):
            built = build(FULL_EXAM, capture, Path(folder))
            attributes = dcmread(built.path, stop_before_pixels=True).to_json_dict()
            record[name] = {"sha256": built.sha256, "attributes": attributes}
    return json.loads(json.dumps(record))


if __name__ == "__main__":
    RECORD.write_text(json.dumps(present(), indent=1, ensure_ascii=False, sort_keys=True) + "\n", encoding="utf-8")
