"""Names in any script reach the archive character for character, as another toolkit (DCMTK) receives and reads them.

The names are invented. Which scripts PS3.5 shows in its examples: Latin, ideographic and phonetic Japanese (Annex H),
Hangul (Annex I), and, by ISO_IR 192, all of Unicode (Annex J).
"""

from __future__ import annotations

import re
import socket
import subprocess
import time
import unicodedata
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from pydicom import dcmread

from gateway.app import open_gateway
from gateway.builders.attributes import AttributeWriter
from gateway.errors.objects import ValueNotAllowedError
from gateway.settings import DestinationSettings, Settings, SiteSettings, StoreSettings
from gateway.transports.dimse.archive import LoopbackArchive
from tests.end_to_end.visits import Site, draw, still, write_exam
from tests.programs import require

NAMES = {
    "latin": ("Ñuñez-Ødegård^Zoë^Ł.^Dr.^MSc", "", ""),
    "japanese": ("Yamabuki^Hanae", "山吹^花枝", "やまぶき^はなえ"),
    "hangul": ("Gang^Seori", "姜^瑞里", "강^서리"),
    "cyrillic": ("Березина^Любовь^Ёлкина", "", ""),
    "greek": ("Θαλασσινού^Ευφροσύνη", "", ""),
    "arabic": ("البحري^ليلى", "", ""),
    "hebrew": ("ים^שָׁלוֹם", "", ""),
    "thai": ("ทะเลงาม^น้ำผึ้ง", "", ""),
    "combining, composed": (unicodedata.normalize("NFC", "Ǘžģ^Ắ"), "", ""),
    "combining, apart": (unicodedata.normalize("NFD", "Ǘžģ^Ắ"), "", ""),
    "beyond the basic plane": ("Yoshi^Ko", "𠮷^子", "𛀀^𛀁"),
    "joiners": ("नदी^क्‍ष", "", ""),
}


def written(name: tuple[str, str, str]) -> str:
    return "=".join(name).rstrip("=")


def exam_of(folder: Path, name: tuple[str, str, str]) -> Path:
    draw(folder, "od-t3.png", 5)
    groups = zip(("alphabetic", "ideographic", "phonetic"), name, strict=True)
    mapping = ", ".join(f'{key}: "{value}"' for key, value in groups if value)
    return write_exam(folder, [still("od-t3")], patient=f'{{id: "INV-1", issuer: "INVENTED", name: {{{mapping}}}}}')


@pytest.mark.parametrize("name", NAMES.values(), ids=NAMES)
def test_the_loopback_archive_has_the_name_as_it_was_written(tmp_path: Path, name: tuple[str, str, str]) -> None:
    with LoopbackArchive(tmp_path / "a", ae_title="ARCHIVE") as archive:
        Site(tmp_path, {"a": archive}).deliver(exam_of(tmp_path / "exam", name))
    files = list((tmp_path / "a").rglob("*.dcm"))
    assert len(files) == 3
    for path in files:
        ds = dcmread(path)
        assert ds.SpecificCharacterSet == "ISO_IR 192"
        assert str(ds.PatientName) == written(name)
        assert written(name).encode("utf-8") in path.read_bytes()


@pytest.fixture
def storescp(tmp_path: Path) -> Iterator[int]:
    with closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    folder = tmp_path / "stored"
    folder.mkdir()
    command = [require("storescp"), "-od", str(folder), "-aet", "PLAIN", str(port)]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as server:
        try:
            for _ in range(200):
                with closing(socket.socket()) as probe:
                    if probe.connect_ex(("127.0.0.1", port)) == 0:
                        break
                time.sleep(0.05)
            yield port
        finally:
            server.terminate()


def test_another_toolkit_receives_and_dumps_every_name(tmp_path: Path, storescp: int) -> None:
    dcmdump = require("dcmdump")
    archive = DestinationSettings("plain", "PLAIN", "127.0.0.1", storescp, storage_commitment=False, attempts=1)
    site = SiteSettings(single_eye_witness=True)
    seen: set[Path] = set()
    for number, name in enumerate(NAMES.values()):
        exam = exam_of(tmp_path / f"exam{number}", name)
        with open_gateway(
            Settings(site, StoreSettings(tmp_path / f"data{number}"), destinations=(archive,))
        ) as gateway:
            gateway.deliver(gateway.prepare(exam, archive), archive)
        stored = set((tmp_path / "stored").iterdir()) - seen
        assert len(stored) == 3
        seen |= stored
        for path in stored:
            dumped = subprocess.run([dcmdump, "+P", "0010,0010", str(path)], capture_output=True, check=True).stdout
            found = re.search(r"PN \[(.*)\]", dumped.decode("utf-8"))
            assert found is not None
            assert found[1].rstrip(" ") == written(name)


@pytest.mark.parametrize("keyword", ["PatientName", "InstitutionName", "ImageComments", "AccessionNumber"])
def test_half_a_character_is_an_error_and_never_a_question_mark(keyword: str) -> None:
    # RFC 3629 3 forbids surrogates in UTF-8; JSON can hold one alone.
    w = AttributeWriter()
    with pytest.raises(ValueNotAllowedError, match="character") as caught:
        w.set(keyword, "A\ud83dB", "test")
    assert keyword in str(caught.value)
    assert len(w.dataset) == 0
