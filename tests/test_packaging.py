"""What is installed is whole: pages with templates and scripts, migrations, the demo pass."""

import shutil
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

from tests.house import ROOT

BUILD = "import sys; from setuptools import build_meta; print(getattr(build_meta, sys.argv[1])(sys.argv[2]))"
SOURCES = ("pyproject.toml", "setup.py", "MANIFEST.in", "LICENSE", "README.md", "DEVELOPERS.md", "start.py")


def build(kind: str, tree: Path, out: Path) -> Path:
    """Build a wheel or an sdist of `tree` with the setuptools at hand, offline."""
    done = subprocess.run(
        [sys.executable, "-c", BUILD, f"build_{kind}", str(out)], cwd=tree, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    return out / done.stdout.split()[-1]


def wheel_names(wheel: Path) -> set[str]:
    with zipfile.ZipFile(wheel) as packed:
        return {name for name in packed.namelist() if ".dist-info/" not in name}


def expected_names() -> set[str]:
    """Name every file of the two source folders as an installation has it; notes for readers stay behind."""
    places = {ROOT / "shopmon": Path("shopmon"), ROOT / "dashboards": Path("shopmon/dashboards")}
    return {
        (inside / file.relative_to(folder)).as_posix()
        for folder, inside in places.items()
        for file in folder.rglob("*")
        if file.is_file() and file.suffix not in (".pyc", ".md")
    }


@pytest.fixture(scope="module")
def tree(tmp_path_factory) -> Path:
    """Copy what a build reads, so that nothing is written into the repository."""
    target = tmp_path_factory.mktemp("sources")
    for name in SOURCES:
        shutil.copy(ROOT / name, target / name)
    for name in ("shopmon", "dashboards", "firmware_notes", "tests"):
        shutil.copytree(ROOT / name, target / name, ignore=shutil.ignore_patterns("__pycache__"))
    return target


@pytest.fixture(scope="module")
def sdist(tree, tmp_path_factory) -> Path:
    return build("sdist", tree, tmp_path_factory.mktemp("sdist"))


def test_wheel_holds_every_file_of_the_package(tree, tmp_path):
    assert wheel_names(build("wheel", tree, tmp_path)) == expected_names()


def test_the_things_that_matter_most_are_among_them():
    names = expected_names()
    for suffix in (".html", ".js", ".css", ".flac", ".json"):
        assert [name for name in names if name.endswith(suffix)], suffix
    assert [name for name in names if "migrations/versions/" in name and name.endswith(".py")]


def test_sdist_builds_the_same_wheel(sdist, tmp_path):
    with tarfile.open(sdist) as packed:
        packed.extractall(tmp_path, filter="data")
    unpacked = next(tmp_path.iterdir())
    assert wheel_names(build("wheel", unpacked, tmp_path)) == expected_names()


def test_sdist_holds_notes_tests_and_the_starter(sdist):
    with tarfile.open(sdist) as packed:
        names = {name.partition("/")[2] for name in packed.getnames()}
    assert {"start.py", "DEVELOPERS.md", "firmware_notes/README.md", "tests/everything.py"} <= names


def test_this_installation_finds_the_pages_from_anywhere(tmp_path):
    code = (
        "from importlib.resources import files; print(files('shopmon.dashboards').joinpath('look').is_dir())"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True)
    assert done.stdout.strip() == "True", done.stderr
