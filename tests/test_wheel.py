"""The wheel, installed where no checkout is near, is the whole program."""

import os
import subprocess
import sys
import sysconfig
import venv
import zipfile
from importlib.util import find_spec
from pathlib import Path

import pytest

from scheduler import __version__

CHECKOUT = Path(__file__).resolve().parents[1]

pytestmark = pytest.mark.skipif(
    find_spec("hatchling") is None and "CI" not in os.environ,
    reason="hatchling is missing (sh tests/run.sh installs it); where CI is set its absence is a failure",
)


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)]
    subprocess.run(command, cwd=CHECKOUT, check=True, capture_output=True)
    (built,) = folder.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def bin_folder(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Commands of a fresh environment with the wheel; the dependencies are lent by the running one.

    A `.pth` lends its folder but not the `.pth` files in it: an editable shelfbell there stays hidden.
    """
    folder = tmp_path_factory.mktemp("installed")
    venv.create(folder, symlinks=True)
    commands, python = folder / "bin", folder / "bin" / "python"
    pip = [sys.executable, "-m", "pip", "--python", str(python)]
    subprocess.run([*pip, "install", "--quiet", "--no-deps", "--no-index", str(wheel)], check=True)
    (site_packages,) = folder.glob("lib/python*/site-packages")
    (site_packages / "lent.pth").write_text(sysconfig.get_path("purelib") + "\n")
    return commands


def run(command: list[str | Path], cwd: Path) -> str:
    """What the command prints, with a folder of its own and a bare environment; it must exit 0."""
    environment = {"PATH": os.environ["PATH"], "HOME": str(cwd), "LANG": "C.UTF-8"}
    done = subprocess.run(command, cwd=cwd, env=environment, capture_output=True, text=True)
    assert done.returncode == 0, f"{command} exited {done.returncode}\n{done.stdout}{done.stderr}"
    return done.stdout


def contents(folder: Path) -> dict[str, bytes]:
    return {str(file.relative_to(folder)): file.read_bytes() for file in folder.rglob("*") if file.is_file()}


def test_the_wheel_holds_the_package_and_nothing_beside_it(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        tops = {name.split("/")[0] for name in archive.namelist()}
    assert tops == {"scheduler", f"shelfbell-{__version__}.dist-info"}


@pytest.mark.parametrize("name", ["rules", "systemd"])
def test_shipped_files_are_found_inside_the_installed_package(name: str, bin_folder: Path, tmp_path: Path) -> None:
    code = f"from scheduler.base.shipped import folder; print(folder({name!r}))"

    found = Path(run([bin_folder / "python", "-c", code], tmp_path).strip())

    assert found.is_relative_to(bin_folder.parent)
    assert contents(found) == contents(CHECKOUT / name)


def test_rules_schemas_and_units_are_all_among_the_shipped_files(bin_folder: Path) -> None:
    (package,) = bin_folder.parent.glob("lib/python*/site-packages/scheduler")
    for pattern in ["rules/*.yaml", "rules/*.schema.json", "systemd/*.service", "systemd/*.timer"]:
        assert list(package.glob(pattern)), f"no {pattern} in the installed package"


def test_the_installed_command_tells_its_version(bin_folder: Path, tmp_path: Path) -> None:
    assert __version__ in run([bin_folder / "shelfbell", "--version"], tmp_path)


def test_a_starter_home_of_the_installed_command_passes_its_check(bin_folder: Path, tmp_path: Path) -> None:
    home = tmp_path / "home"
    run([bin_folder / "shelfbell", "--home", home, "init", home], tmp_path)
    run([bin_folder / "shelfbell", "--home", home, "check"], tmp_path)
