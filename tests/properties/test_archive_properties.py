"""Whatever names and bytes an archive holds: what comes out is what Python's zipfile put in, or an error of ours."""

from __future__ import annotations

import contextlib
import io
import warnings
import zipfile
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gateway.errors import GatewayError
from gateway.errors.archives import ArchiveError
from gateway.intake.archives import unpacked

MANY = settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=100)

plain_steps = st.text("abcXYZ019-_ \u00e4\u65e5", min_size=1, max_size=8).map(str.strip).filter(bool)
plain_names = st.lists(plain_steps, min_size=1, max_size=3).map("/".join)
any_names = st.text(max_size=20).filter(lambda name: name and "\0" not in name and not name.endswith("/"))


def zipped(entries: dict[str, bytes], method: int) -> bytes:
    buffer = io.BytesIO()
    with warnings.catch_warnings(), zipfile.ZipFile(buffer, "w", method) as archive:
        warnings.simplefilter("ignore")
        for name, content in entries.items():
            archive.writestr(name, content)
    return buffer.getvalue()


methods = st.sampled_from([zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED])


@MANY
@given(entries=st.dictionaries(plain_names, st.binary(max_size=300), min_size=1, max_size=6), method=methods)
def test_plain_archives_come_out_as_they_went_in(tmp_path: Path, entries: dict[str, bytes], method: int) -> None:
    path = tmp_path / "a.zip"
    path.write_bytes(zipped(entries, method))
    with contextlib.suppress(ArchiveError), unpacked(path) as found:
        out = {p.relative_to(found.folder).as_posix(): p.read_bytes() for p in found.folder.rglob("*") if p.is_file()}
        tops = {name.split("/")[0] for name in entries}
        is_nested = len(tops) == 1 and all("/" in name for name in entries)
        assert out == {name.partition("/")[2] if is_nested else name: content for name, content in entries.items()}


@MANY
@given(entries=st.dictionaries(any_names, st.binary(max_size=50), min_size=1, max_size=4), method=methods)
def test_no_name_leads_out_of_the_folder(tmp_path: Path, entries: dict[str, bytes], method: int) -> None:
    path = tmp_path / "a.zip"
    with contextlib.suppress(UnicodeError):
        path.write_bytes(zipped(entries, method))
        with contextlib.suppress(ArchiveError), unpacked(path) as found:
            written = [p for p in found.folder.parent.rglob("*") if p.is_file()]
            assert len(written) == len(entries)
            assert all(p.resolve().is_relative_to(found.folder.resolve()) for p in written)
    assert [p.name for p in tmp_path.iterdir()] in ([], ["a.zip"])


@MANY
@given(place=st.floats(0, 1), change=st.binary(min_size=1, max_size=6))
def test_damaged_archives_give_our_errors_alone(tmp_path: Path, place: float, change: bytes) -> None:
    content = bytearray(zipped({"exam.yaml": b"format: x\n" * 20, "media/a.png": bytes(200)}, zipfile.ZIP_DEFLATED))
    at = int(place * (len(content) - len(change)))
    content[at : at + len(change)] = change
    path = tmp_path / "a.zip"
    path.write_bytes(content)
    with contextlib.suppress(GatewayError), unpacked(path):
        pass
