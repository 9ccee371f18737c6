"""The built wheel in a new environment does the main job; nothing of the checkout is used.

Every Python that is found here is tried: the one that runs the tests, and 3.11, 3.12 and 3.13 from
PATH or from pyenv. Dependencies come through pip, as a user gets them.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tarfile
import zipfile
from email import message_from_string
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
VERSIONS = ("3.11", "3.12", "3.13")

pytestmark = [pytest.mark.slow, pytest.mark.xdist_group("wheel")]


def interpreters() -> dict[str, str]:
    """The Pythons of this machine by version."""
    found = {f"{sys.version_info[0]}.{sys.version_info[1]}": sys.executable}
    pyenv = Path(os.environ.get("PYENV_ROOT", Path.home() / ".pyenv")) / "versions"
    for version in VERSIONS:
        there = [shutil.which(f"python{version}"), *sorted(map(str, pyenv.glob(f"{version}.*/bin/python")))]
        for path in filter(None, there):
            if version not in found and _works(path):
                found[version] = path
    return dict(sorted(found.items()))


def _works(path: str) -> bool:
    return subprocess.run([path, "-c", "import venv, ensurepip"], capture_output=True).returncode == 0


def clean_environment() -> dict[str, str]:
    """Nothing that leads back to the checkout or to the environment of the tests."""
    return {
        key: value
        for key, value in os.environ.items()
        if key not in {"PYTHONPATH", "PYTHONHOME", "VIRTUAL_ENV"}
    }


def run(*command, cwd: Path, code: int = 0) -> str:
    found = subprocess.run(
        [str(item) for item in command], cwd=cwd, env=clean_environment(), capture_output=True, text=True
    )
    assert found.returncode == code, f"{command}\n{found.stdout[-2000:]}\n{found.stderr[-3000:]}"
    return found.stdout


@pytest.fixture(scope="module")
def built(tmp_path_factory) -> tuple[Path, Path]:
    """The wheel and the source archive, the wheel made from the archive."""
    out = tmp_path_factory.mktemp("dist")
    run(sys.executable, "-m", "build", "--outdir", out, ROOT, cwd=out)
    (wheel,), (archive,) = out.glob("*.whl"), out.glob("*.tar.gz")
    return wheel, archive


def test_what_is_in_the_wheel(built):
    wheel, archive = built
    with zipfile.ZipFile(wheel) as opened:
        names = opened.namelist()
        meta = next(name for name in names if name.endswith(".dist-info/METADATA"))
        told = message_from_string(opened.read(meta).decode())
    templates = {path.name for path in (ROOT / "workbook_templates").glob("*.xlsx")}
    assert templates == {Path(name).name for name in names if name.startswith("dispense/workbook_templates/")}
    for path in (ROOT / "dispense").rglob("*.py"):
        assert path.relative_to(ROOT).as_posix() in names
    tops = {name.partition("/")[0] for name in names}
    assert tops == {"dispense", meta.partition("/")[0]}  # no tests, no docs, nothing beside
    assert any(name.endswith("licenses/LICENSE") for name in names)
    assert told["Requires-Python"] == ">=3.11"
    assert told["License-Expression"] == "MIT"
    with tarfile.open(archive) as opened:
        inside = {name.partition("/")[2] for name in opened.getnames()}
    assert {"LICENSE", "README.md", "pyproject.toml", "dispense/cli.py", "tests/conftest.py"} <= inside
    assert not [name for name in inside if name.startswith((".git/", ".ci", ".venv"))]


@pytest.mark.parametrize("version", interpreters())
def test_the_installed_wheel_does_the_main_job(built, tmp_path, version):
    wheel, _ = built
    home = tmp_path / "environment"
    run(interpreters()[version], "-m", "venv", home, cwd=tmp_path)
    binary = home / ("Scripts" if os.name == "nt" else "bin")
    python, dispense = binary / "python", binary / "dispense"
    run(python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", wheel, cwd=tmp_path)
    work = tmp_path / "work"
    work.mkdir()
    where = run(python, "-c", "import dispense, sys; print(dispense.__file__, sys.version)", cwd=work)
    assert where.startswith(str(home)) and f" {version}." in where

    assert run(dispense, "--version", cwd=work).startswith("dispense ")
    run(dispense, "new", "plan.xlsx", "--demo", cwd=work)
    assert "no problems found" in run(dispense, "check", "plan.xlsx", cwd=work)
    report = json.loads(
        run(
            dispense,
            "fill",
            "plan.xlsx",
            "--out",
            "sheets",
            "--date",
            "2026-03-02",
            "--shift",
            "Early",
            "--json",
            cwd=work,
        )
    )
    files = [work / name for name in report["files"]]
    assert len(files) > 20 and all(path.is_file() for path in files)
    assert sum(report["counts"].values()) == len(files)
    listed = json.loads(run(dispense, "functions", "--json", cwd=work))
    assert len(listed["functions"] if isinstance(listed, dict) else listed) > 50
    assert "POT_LIFE" in run(dispense, "functions", "POT_LIFE", cwd=work)
    # 60·2^(13/10) min: the halving rule, by hand
    assert run(dispense, "call", "POT_LIFE", "10", "60", "23", cwd=work).startswith("147.737")
    for host, name in (("calc", "dispense.oxt"), ("names", "names.xlsx")):
        run(dispense, "addin", "build", "--host", host, "--out", name, cwd=work)
        assert zipfile.is_zipfile(work / name)
