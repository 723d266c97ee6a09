"""The package is whole: every Python folder is listed, and the YAML comes with it. `make wheel` tries the wheel."""

from __future__ import annotations

import tomllib
from importlib.resources import files
from typing import Any

import pytest

from benchctl import library
from tests.pages import ROOT

DATA = {"benchctl.drivers": "drivers", "benchctl.sequences": "sequences", "benchctl.sim": "sim"}


@pytest.fixture(scope="module")
def setuptools() -> Any:
    return tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]


def python_folders() -> set[str]:
    found = (path.parent.relative_to(ROOT) for path in (ROOT / "benchctl").rglob("*.py"))
    return {".".join(folder.parts) for folder in found}


def test_the_packages_are_the_python_folders_and_the_three_of_yaml(setuptools: Any) -> None:
    """Written by hand in pyproject.toml: a folder that is forgotten there is missing from the wheel."""
    assert set(setuptools["packages"]) == python_folders() | set(DATA)
    assert len(setuptools["packages"]) == len(set(setuptools["packages"]))
    assert setuptools["package-dir"] == DATA


def test_every_python_folder_has_its_init_with_a_docstring() -> None:
    for package in sorted(python_folders()) + list(DATA.values()):
        init = ROOT / package.replace(".", "/") / "__init__.py"
        assert init.read_text(encoding="utf-8").startswith('"""'), f"{init} says what the folder is"


def test_no_python_folder_bears_the_name_of_a_yaml_folder() -> None:
    assert not {package.rpartition(".")[2] for package in python_folders()} & set(DATA.values())


@pytest.mark.parametrize(("package", "folder"), list(DATA.items()))
def test_yaml_is_found_through_the_package(package: str, folder: str) -> None:
    in_package = {path.name for path in files(package).iterdir() if path.name.endswith(".yaml")}
    in_checkout = {path.name for path in (ROOT / folder).glob("*.yaml")}
    assert in_package == in_checkout


def test_all_yaml_of_the_checkout_is_on_a_shelf() -> None:
    shelves: tuple[library.Shelf, ...] = ("drivers", "sequences", "benches", "amplifiers")
    on_shelves = {path.resolve() for shelf in shelves for path in library.shipped(shelf).values()}
    in_checkout = {path.resolve() for folder in DATA.values() for path in (ROOT / folder).rglob("*.yaml")}
    assert on_shelves == in_checkout


def test_the_safety_page_is_found_and_is_the_one_of_the_checkout() -> None:
    assert library.safety_page().samefile(ROOT / "SAFETY.md")


def test_type_checkers_may_read_the_package() -> None:
    assert files("benchctl").joinpath("py.typed").is_file()
