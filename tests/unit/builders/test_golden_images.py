"""The bytes of images change only together with the builder's output version."""

from __future__ import annotations

import json

from gateway.builders.options import BUILDER_OUTPUT_VERSION
from tests.golden.images import RECORD, present


def test_images_change_only_with_the_builder_output_version() -> None:
    recorded, now = json.loads(RECORD.read_text(encoding="utf-8")), present()
    assert recorded["builder_output_version"] == BUILDER_OUTPUT_VERSION, (
        "BUILDER_OUTPUT_VERSION was raised: write the golden record anew with `python -m tests.golden.images`"
    )
    for name in ("still", "loop"):
        old, new = recorded[name]["attributes"], now[name]["attributes"]
        changed = sorted(tag for tag in old.keys() | new.keys() if old.get(tag) != new.get(tag))
        same = recorded[name]["sha256"] == now[name]["sha256"]
        assert same, (
            f"the {name} comes out otherwise (attributes {', '.join(changed) or 'none: pixel encoding'}), but objects "
            "of this builder output version are already in archives under the same rules. Raise BUILDER_OUTPUT_VERSION "
            "in gateway/builders/options.py, then run `python -m tests.golden.images`"
        )
