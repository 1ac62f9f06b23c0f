"""What the program never does, read in its own sources: no text becomes code or a command.

Requirements are those of ASVS 5.0.0: 1.2.5, 1.3.2, 1.3.7, 1.5.1, 11.3.1, 11.4.1 and 12.2.1.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

pytestmark = pytest.mark.hostile

ROOT = Path(__file__).resolve().parents[2]
OURS = ("studio", "fibres", "orders")

# What turns text into code, and what reads objects that may bring code along.
CODE = {"eval", "exec", "compile", "__import__", "from_string", "Template"}
OBJECTS = {"pickle", "cPickle", "marshal", "shelve", "dill", "jsonpickle", "yaml", "code",
           "codeop", "runpy", "ctypes"}  # fmt: skip
# What hands a line to a shell, which reads signs in it.
SHELLS = {"system", "popen", "getoutput", "getstatusoutput", "spawnl", "spawnlp", "execl",
          "execlp", "create_subprocess_shell"}  # fmt: skip
RUNNERS = {"run", "Popen", "call", "check_call", "check_output"}
# Parsers that follow what a document declares; of openpyxl's own see studio/files/books.py.
MARKUP = {"xml", "lxml", "xmltodict", "html5lib", "bs4"}
# What asks other machines; the database has its own driver.
CALLERS = {"urllib.request", "http.client", "requests", "httpx", "aiohttp", "urllib3", "ftplib",
           "smtplib", "imaplib", "poplib", "telnetlib", "xmlrpc", "ldap3", "paramiko",
           "websockets", "django.core.mail"}  # fmt: skip
CIPHERS = {"cryptography", "Crypto", "Cryptodome", "nacl", "ssl", "jwt", "jose", "authlib",
           "itsdangerous", "secretstorage"}  # fmt: skip
# FIPS 180-4 and 202: what is left is of the SHA-2 and SHA-3 families.
GOOD_HASHES = {"sha256", "sha384", "sha512", "sha3_256", "sha3_512", "file_digest"}
GUESSABLE = {"random", "numpy.random"}


@cache
def sources() -> dict[str, ast.Module]:
    """Return every module of the program, migrations and commands included."""
    found = [path for name in OURS for path in (ROOT / name).rglob("*.py")]
    found.append(ROOT / "manage.py")
    return {str(path.relative_to(ROOT)): ast.parse(path.read_text("utf-8")) for path in found}


@cache
def nodes(tree: ast.AST) -> list[ast.AST]:
    return list(ast.walk(tree))


def called(tree: ast.AST) -> Iterator[tuple[str, ast.Call]]:
    """Yield the last name of what is called: ``run`` of ``subprocess.run(…)``."""
    for node in nodes(tree):
        if isinstance(node, ast.Call):
            if isinstance(node.func, ast.Attribute):
                yield node.func.attr, node
            elif isinstance(node.func, ast.Name):
                yield node.func.id, node


def imported(tree: ast.AST) -> Iterator[str]:
    for node in nodes(tree):
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            yield node.module
            yield from (f"{node.module}.{name.name}" for name in node.names)


def is_of(module: str, wanted: set[str]) -> bool:
    return any(module == one or module.startswith(f"{one}.") for one in wanted)


def as_code(tree: ast.AST) -> list[str]:
    """Say where text would become code; patterns of ``re`` are compiled, which is none."""
    found = [
        name
        for name, call in called(tree)
        if name in CODE and not (name == "compile" and isinstance(call.func, ast.Attribute))
    ]
    return found + [module for module in imported(tree) if is_of(module, OBJECTS)]


def as_command(tree: ast.AST) -> list[str]:
    """Say where a line would go to a shell: what is run is a list of words, and no shell is."""
    found = [name for name, _ in called(tree) if name in SHELLS]
    for call in runs(tree):
        if not (call.args and isinstance(call.args[0], ast.List)):
            found.append("a line is run")
        found += ["a shell is asked" for one in call.keywords if one.arg == "shell"]
    return found


def runs(tree: ast.AST) -> list[ast.Call]:
    """Return where another program is run."""
    modules = set(imported(tree))
    return [
        call
        for name, call in called(tree)
        if name in RUNNERS
        and (
            f"subprocess.{name}" in modules
            if isinstance(call.func, ast.Name)
            else ast.unparse(call.func) == f"subprocess.{name}"
        )
    ]


def as_weak(tree: ast.AST) -> list[str]:
    """Say where something is hashed or drawn by what does not hold, or ciphered by the house."""
    modules = list(imported(tree))
    found = [module for module in modules if is_of(module, CIPHERS | GUESSABLE)]
    if "hashlib" in modules:
        hashes = [
            call.func.attr
            for _, call in called(tree)
            if isinstance(call.func, ast.Attribute)
            and isinstance(call.func.value, ast.Name)
            and call.func.value.id == "hashlib"
        ]
        named = [m.removeprefix("hashlib.") for m in modules if m.startswith("hashlib.")]
        found += [name for name in [*hashes, *named] if name not in GOOD_HASHES]
    return found


def as_caller(tree: ast.AST) -> list[str]:
    return [module for module in imported(tree) if is_of(module, CALLERS)]


def as_markup(tree: ast.AST) -> list[str]:
    return [module for module in imported(tree) if is_of(module, MARKUP)]


NEVER = {"code": as_code, "command": as_command, "weak": as_weak, "caller": as_caller,
         "markup": as_markup}  # fmt: skip


@pytest.mark.parametrize("what", NEVER)
def test_the_program_never_does_it(what: str) -> None:
    trees = sources()
    assert len(trees) > 200
    told = {name: found for name, tree in trees.items() if (found := NEVER[what](tree))}
    assert told == {}


def test_programs_are_run_as_lists_of_words() -> None:
    """There is something to look at: copies of PostgreSQL are made by its own programs."""
    assert sum(len(runs(tree)) for tree in sources().values()) >= 3


def test_pages_escape_all_that_they_show() -> None:
    """1.2.1: no template turns escaping off; what is markup is made so where it is written."""
    templates = [path for name in OURS for path in (ROOT / name).rglob("*.html")]
    assert len(templates) > 50
    off = re.compile(r"\|\s*(safe|safeseq)\b|\{%\s*autoescape\s+off|\|\s*escapejs\b")
    assert [path.name for path in templates if off.search(path.read_text("utf-8"))] == []


@pytest.mark.parametrize(("what", "text"), [
    ("code", "eval(text)"),
    ("code", "exec(text)"),
    ("code", "compile(text, '', 'eval')"),
    ("code", "import pickle"),
    ("code", "from yaml import load"),
    ("code", "engine.from_string(text)"),
    ("command", "import os\nos.system(text)"),
    ("command", "import subprocess\nsubprocess.run(text)"),
    ("command", "import subprocess\nsubprocess.run(['sh', text], shell=True)"),
    ("command", "from subprocess import Popen\nPopen(f'pg_dump {name}')"),
    ("weak", "import hashlib\nhashlib.md5(text)"),
    ("weak", "import hashlib\nhashlib.new('md5')"),
    ("weak", "from hashlib import sha1"),
    ("weak", "import random"),
    ("weak", "from cryptography.hazmat.primitives.ciphers import modes"),
    ("caller", "from urllib.request import urlopen"),
    ("caller", "import requests"),
    ("markup", "from xml.etree import ElementTree"),
])  # fmt: skip
def test_it_would_be_found(what: str, text: str) -> None:
    assert NEVER[what](ast.parse(text))


@pytest.mark.parametrize(("what", "text"), [
    ("code", "import re\nre.compile('a')"),
    ("command", "import subprocess\nsubprocess.run(['pg_dump', name], check=False)"),
    ("weak", "import hashlib\nhashlib.sha256(text)"),
    ("caller", "from urllib.parse import quote"),
])  # fmt: skip
def test_what_is_harmless_is_not(what: str, text: str) -> None:
    assert NEVER[what](ast.parse(text)) == []
