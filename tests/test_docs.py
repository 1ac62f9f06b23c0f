"""README, DEVELOPERS and docstrings agree with the code."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable, Iterator

import pytest
from django.conf import settings
from django.core.management import get_commands

import fibres.calc
import orders.calc

README = (settings.BASE_DIR / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (settings.BASE_DIR / "DEVELOPERS.md").read_text(encoding="utf-8")
SECTIONS = ("Returns", "Raises", "Notes", "Examples")
OURS = {"studio", "fibres", "orders"}


def public_functions() -> Iterator[Callable[..., object]]:
    """Yield every public function that a module of the arithmetic defines."""
    for package in (fibres.calc, orders.calc):
        for module_info in pkgutil.iter_modules(package.__path__, f"{package.__name__}."):
            if module_info.name.rpartition(".")[2].startswith("_"):
                continue
            module = importlib.import_module(module_info.name)
            for name, function in inspect.getmembers(module, inspect.isfunction):
                home = inspect.unwrap(function).__module__
                if not name.startswith("_") and home == module.__name__:
                    yield function


# What turns rows into JSON and back is described where the schema is.
PLUMBING = {"to_json", "from_json", "from_text", "estimate_of", "no_steps"}
FORMULAS = [function for function in public_functions() if function.__name__ not in PLUMBING]


@pytest.mark.parametrize("function", FORMULAS, ids=lambda function: function.__name__)
def test_formula_says_units_errors_source_and_an_example(function: Callable[..., object]) -> None:
    told = inspect.getdoc(function) or ""
    parameters = inspect.signature(inspect.unwrap(function)).parameters
    for section in (*SECTIONS, *(["Parameters"] if parameters else [])):
        assert re.search(rf"^{section}\n-+$", told, re.M), f"{section} is missing"
    for name in parameters:
        assert re.search(rf"^{name}\b.*:", told, re.M), f"{name} is not described"
    assert ">>> " in told


def test_there_are_formulas_to_look_at() -> None:
    assert len(FORMULAS) > 30


def test_every_command_of_the_house_stands_in_readme() -> None:
    commands = {name for name, app in get_commands().items() if app in OURS}
    table = README.partition("## Commands")[2].partition("## Words")[0]
    assert commands
    assert {name for name in commands if f"`{name}" not in table} == set()


def test_every_setting_from_the_environment_stands_in_developers() -> None:
    source = (settings.BASE_DIR / "studio" / "settings.py").read_text(encoding="utf-8")
    names = set(re.findall(r"HALFSTUFF_[A-Z_]+", source))
    assert names
    assert {name for name in names if name not in DEVELOPERS} == set()


def test_top_level_holds_what_the_house_plan_names() -> None:
    allowed = {
        "README.md", "DEVELOPERS.md", "manage.py", "pyproject.toml", "studio", "fibres", "orders",
        "tests", "fixtures", "var", "build",
    }  # fmt: skip
    found = {path.name for path in settings.BASE_DIR.iterdir() if not path.name.startswith(".")}
    assert {name for name in found - allowed if not name.endswith(".egg-info")} == set()
