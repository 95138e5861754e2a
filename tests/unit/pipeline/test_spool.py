from __future__ import annotations

import hashlib
import stat
from pathlib import Path

import pytest

from gateway.errors.store import SpoolDamagedError
from gateway.pipeline.spool import Spool


def test_adopted_bytes_are_found_by_digest_and_private(tmp_path: Path) -> None:
    spool = Spool(tmp_path / "spool")
    built = spool.building / "x.dcm"
    built.write_bytes(b"object")
    digest = hashlib.sha256(b"object").hexdigest()
    spool.adopt(built, digest)
    assert not built.exists()
    assert spool.verified(digest).read_bytes() == b"object"
    assert stat.S_IMODE((tmp_path / "spool").stat().st_mode) == 0o700


def test_adopting_the_same_bytes_again_is_harmless(tmp_path: Path) -> None:
    spool = Spool(tmp_path)
    digest = hashlib.sha256(b"object").hexdigest()
    for _ in range(2):
        (spool.building / "x.dcm").write_bytes(b"object")
        spool.adopt(spool.building / "x.dcm", digest)
    assert spool.verified(digest).read_bytes() == b"object"


def test_a_changed_or_missing_file_is_not_handed_out(tmp_path: Path) -> None:
    spool = Spool(tmp_path)
    digest = hashlib.sha256(b"object").hexdigest()
    with pytest.raises(SpoolDamagedError, match="cannot be read"):
        spool.verified(digest)
    spool.path(digest).parent.mkdir()
    spool.path(digest).write_bytes(b"objecT")
    with pytest.raises(SpoolDamagedError, match="was changed"):
        spool.verified(digest)


def test_what_was_not_finished_is_gone_at_the_end_and_adopted_files_stay(tmp_path: Path) -> None:
    spool = Spool(tmp_path)
    digest = hashlib.sha256(b"object").hexdigest()
    (spool.building / "x.dcm").write_bytes(b"object")
    spool.adopt(spool.building / "x.dcm", digest)
    (spool.building / "half.dcm").write_bytes(b"obj")
    spool.close()
    assert [p.name for p in tmp_path.rglob("*.dcm")] == [f"{digest}.dcm"]
