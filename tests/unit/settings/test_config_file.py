from __future__ import annotations

from pathlib import Path

import pytest

from gateway.config_file import read_settings, settings_template
from gateway.errors.settings import SettingsFileError, SettingValueError, UnknownSettingError
from gateway.settings import Settings


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
