from __future__ import annotations

from pathlib import Path

import pytest

from gateway.config_file import read_settings, settings_template
from gateway.errors.settings import SettingsError, SettingsFileError, SettingValueError, UnknownSettingError
from gateway.settings import OverrideSettings, Settings


def written(folder: Path, text: str) -> Path:
    path = folder / "gateway.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_template_is_the_defaults_and_its_example_destination_is_valid(tmp_path: Path) -> None:
    assert read_settings(written(tmp_path, settings_template()), {}) == Settings()
    example = "\n".join(
        line.removeprefix("# ") if (line.startswith("# ") and "=" in line) or "[[" in line else line
        for line in settings_template().splitlines()
    )
    example = example[example.index("[[destinations]]") :]
    (destination,) = read_settings(written(tmp_path, example), {}).destinations
    assert destination.name == "hospital"
    assert destination.storage_commitment


def test_no_file_means_defaults(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert read_settings(None, {}) == Settings()


def test_the_environment_wins(tmp_path: Path) -> None:
    path = written(tmp_path, '[site]\nuid_root = "1.2"\n')
    settings = read_settings(path, {"GATEWAY_SITE_UID_ROOT": "1.3", "GATEWAY_NETWORK_LISTEN_PORT": "104", "HOME": "/"})
    assert settings.site.uid_root == "1.3"
    assert settings.network.listen_port == 104


@pytest.mark.parametrize(
    ("text", "line", "near"),
    [
        ('[site]\n\nuid_rot = "1"\n', 3, "site.uid_root"),
        ("[sight]\n", 1, "site"),
        ('[[destinations]]\nname="a"\nae_titel="B"\n', 3, "destinations.ae_title"),
    ],
)
def test_an_unknown_key_names_file_line_and_nearest_key(tmp_path: Path, text: str, line: int, near: str) -> None:
    path = written(tmp_path, text)
    with pytest.raises(UnknownSettingError) as caught:
        read_settings(path, {})
    assert str(caught.value).startswith(f"{path}:{line}: ")
    assert near in caught.value.fix


def test_an_unknown_variable_names_the_nearest(tmp_path: Path) -> None:
    with pytest.raises(UnknownSettingError, match="GATEWAY_SITE_UID_ROOT"):
        read_settings(written(tmp_path, ""), {"GATEWAY_SITE_UIDROOT": "1"})


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ('[network]\nlisten_port = "many"\n', 2),
        ('[site]\nseries_by = "mood"\n', 2),
        ('[site]\nuid_root = "banana"\n', 2),
        ('[site]\nuid_root = "1.02"\n', 2),
        ('[network]\nae_title = "A\\\\B"\n', 2),
        ('[network]\nae_title = "SEVENTEEN_LETTERS"\n', 2),
        ('[network]\nae_title = "   "\n', 2),
        ('[[destinations]]\nname = "a"\n', None),
    ],
)
def test_a_wrong_value_is_named(tmp_path: Path, text: str, line: int | None) -> None:
    path = written(tmp_path, text)
    with pytest.raises(SettingValueError) as caught:
        read_settings(path, {})
    assert str(path) in str(caught.value)
    if line:
        assert f":{line}:" in str(caught.value)


@pytest.mark.parametrize("content", [b"[site\n", b"\xff\xfe\x00"])
def test_a_file_that_is_not_toml_says_so(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "gateway.toml"
    path.write_bytes(content)
    with pytest.raises(SettingsFileError):
        read_settings(path, {})


def test_a_missing_file_says_how_to_get_one(tmp_path: Path) -> None:
    with pytest.raises(SettingsFileError, match="gateway init"):
        read_settings(tmp_path / "none.toml", {})


OVERRIDE = '[[destinations]]\nname = "a"\nae_title = "A"\nhost = "h"\nport = 1\n'


@pytest.mark.parametrize(
    ("override", "line", "said"),
    [
        ('overrides = [{attribute = "InstitutionNme", value = "x", because = "y"}]', 6, "did you mean InstitutionName"),
        ('overrides = [\n {attribute = "StationName", value = "x", because = "y"},\n'
         ' {attribute = "PatientID", value = "x", because = "y"},\n]', 8, "may not be another"),
        ('overrides = [{attribute = "StationName", value = "much longer than sixteen", because = "y"}]', 6, "16"),
        ('[[destinations.overrides]]\nattribute = "StationName"\nvalue = "x"\nbecause = ""', 7, "because"),
        ('overrides = [{attribute = "StationName", valu = "x", because = "y"}]', None, "destinations.overrides.value"),
        ('overrides = [{attribute = "StationName", value = "x"}]', None, "because"),
    ],
)  # fmt: skip
def test_an_override_that_cannot_be_names_file_line_and_what_would_do(
    tmp_path: Path, override: str, line: int | None, said: str
) -> None:
    path = written(tmp_path, OVERRIDE + override + "\n")
    with pytest.raises(SettingsError) as caught:
        read_settings(path, {})
    assert said in str(caught.value)
    assert str(path) in str(caught.value)
    if line is not None:
        assert caught.value.where.line == line


def test_overrides_are_read_as_written(tmp_path: Path) -> None:
    text = OVERRIDE + 'overrides = [{attribute = "StationName", value = "EYE-12", because = "its list"}]\n'
    (destination,) = read_settings(written(tmp_path, text), {}).destinations
    assert destination.overrides == (OverrideSettings("StationName", "EYE-12", "its list"),)


def test_identifiers_are_made_only_under_a_named_issuer(tmp_path: Path) -> None:
    with pytest.raises(SettingValueError, match=r"site\.issuer") as caught:
        read_settings(written(tmp_path, "[site]\ngenerate_patient_ids = true\n"), {})
    assert caught.value.where.line == 2
    settings = read_settings(
        written(tmp_path, '[site]\nissuer = "ISLAND"\n'), {"GATEWAY_SITE_GENERATE_PATIENT_IDS": "true"}
    )
    assert settings.site.generate_patient_ids
    with pytest.raises(SettingValueError, match="64 characters"):
        read_settings(written(tmp_path, f'[site]\nissuer = "{"x" * 65}"\n'), {})
