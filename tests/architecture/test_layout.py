"""Habits that a newcomer relies on: small modules, small functions, no drawers for odds and ends, arrows one way."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.programs import require

ROOT = Path(__file__).parents[2]
MODULES = sorted(ROOT.joinpath("gateway").rglob("*.py"))
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "gateway", "mappings", "tests", "fixtures"}
ODDS_AND_ENDS = {"utils", "helpers", "common", "manager", "misc"}


def functions(path: Path) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_modules_and_functions_stay_small(path: Path) -> None:
    assert path.read_text(encoding="utf-8").count("\n") <= 400
    assert not set(path.relative_to(ROOT).with_suffix("").parts) & ODDS_AND_ENDS
    for function in functions(path):
        assert (function.end_lineno or 0) - function.lineno < 60, function.name


def test_nothing_else_lies_at_the_top() -> None:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode:
        pytest.skip("not a git checkout")
    tops = {line.split("/")[0] for line in listed.stdout.splitlines()}
    assert {top for top in tops if not top.startswith(".")} == TOP_LEVEL


def test_imports_point_one_way() -> None:
    result = subprocess.run(
        [require("lint-imports"), "--no-cache"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert result.returncode == 0, result.stdout


def test_help_imports_nothing_heavy() -> None:
    code = (
        "import sys; sys.argv = ['gateway', '--help']\n"
        "from gateway.cli import make_app\n"
        "make_app()(standalone_mode=False)\n"
        "sys.stderr.write(','.join(sorted({m.split('.')[0] for m in sys.modules})))\n"
    )
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "deliver" in result.stdout
    heavy = {"numpy", "pydicom", "pynetdicom", "pydantic", "av", "PIL", "sqlalchemy", "typst", "highdicom", "ruamel"}
    assert not heavy & set(result.stderr.split(","))


def test_continuous_integration_runs_the_test_command_of_the_readme() -> None:
    readme = ROOT.joinpath("README.md").read_text(encoding="utf-8")
    commands = re.findall(r"^python3 -m venv .*$", readme, re.MULTILINE)
    (tests,) = [command for command in commands if "pytest" in command]
    (demo,) = [command for command in commands if "gateway demo" in command]
    script = ROOT.joinpath(".ci/run").read_text(encoding="utf-8")
    assert tests in script.replace(" --quiet", "")
    assert demo.split("&&")[-1].strip().split("/")[-1] in script
