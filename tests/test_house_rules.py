"""Sweeps over the whole project: new code is held to the house rules without being asked."""

import ast
import re
import shlex
import subprocess
import sys
import tomllib
from dataclasses import fields

import click
import pytest

from shopmon.cli import COMMANDS, group
from shopmon.service.settings import Settings, settings_from
from tests.house import ROOT, project_files

README = (ROOT / "README.md").read_text(encoding="utf-8")
LONGEST_FILE, LONGEST_FUNCTION = 600, 60
# spelled in pieces, so that this file does not find itself
MACHINE_PATH = re.compile(r"(?<![\w./])/(?:work|root|Users|home/[a-z]+|tmp/[a-z]+)/" + r"[\w.]")
FORBIDDEN = ("TO" + "DO", "FIX" + "ME", "no" + "qa", "type: " + "ignore", "XX" + "X")


def helped(name: str) -> click.Command:
    """Return the command of that name."""
    return group.get_command(click.Context(group), name)


def test_ruff_has_nothing_to_say():
    done = subprocess.run(
        [sys.executable, "-m", "ruff", "check", "."], cwd=ROOT, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_explains_itself_with_an_example(name):
    done = subprocess.run(
        [sys.executable, "-m", "shopmon", name, "--help"], capture_output=True, text=True, check=True
    )
    assert re.search(rf"Example:\s+shopmon {name}\b", done.stdout), done.stdout


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_its_place_in_the_readme(name):
    assert re.search(rf"shopmon {name}\b", README)


def readme_calls() -> list[list[str]]:
    """Return the words of every shopmon command shown in a code block of the README."""
    blocks = re.findall(r"^```[a-z]*\n(.*?)^```", README, re.MULTILINE | re.DOTALL)
    lines = "\n".join(blocks).replace("\\\n", " ").splitlines()
    found = (re.search(r"(?:bin/shopmon|^\s*shopmon|start\.py) ([a-z].*)", line) for line in lines)
    return [shlex.split(match.group(1).split("|")[0], comments=True) for match in found if match]


def test_the_readme_shows_commands():
    assert len(readme_calls()) >= len(COMMANDS)


@pytest.mark.parametrize("words", readme_calls(), ids=" ".join)
def test_the_readmes_commands_exist_with_their_options(words):
    assert words[0] in COMMANDS
    command, rest = helped(words[0]), words[1:]
    known = {text for option in command.params for text in option.opts}
    for word in rest if isinstance(command, click.Group) else ():
        if word in command.commands:
            known |= {text for option in command.commands[word].params for text in option.opts}
    for word in rest:
        if word.startswith("--"):
            assert word.split("=")[0] in known, word


def test_the_readmes_settings_are_accepted():
    (example,) = re.findall(r"^```toml\n(.*?)^```", README, re.MULTILINE | re.DOTALL)
    assert settings_from(tomllib.loads(example)).sources["spindle-mic"].device == "USB"


def test_every_table_of_the_settings_is_shown_in_the_readme():
    (example,) = re.findall(r"^```toml\n(.*?)^```", README, re.MULTILINE | re.DOTALL)
    assert set(tomllib.loads(example)) == {table.name for table in fields(Settings)}


@pytest.mark.parametrize("command", ["start.py", "tests/everything.py", "tests/bench/run.py"])
def test_scripts_named_in_the_documents_are_there(command):
    assert (ROOT / command).is_file()
    assert command in README + (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_links_between_the_documents_lead_somewhere():
    for document in project_files(".md"):
        for target in re.findall(r"\]\(([^)#]+?)(?:#[^)]*)?\)", document.read_text(encoding="utf-8")):
            if not target.startswith(("http:", "https:")):
                assert (document.parent / target).exists(), f"{document.name}: {target}"


def test_nothing_names_a_folder_of_one_machine():
    for path in project_files():
        for line in path.read_text(encoding="utf-8").splitlines():
            assert not MACHINE_PATH.search(line), f"{path.relative_to(ROOT)}: {line.strip()}"


def test_no_unfinished_or_silenced_code():
    for path in project_files(".py", ".js", ".html", ".css"):
        text = path.read_text(encoding="utf-8")
        assert not [word for word in FORBIDDEN if re.search(rf"\b{word}\b", text)], path.relative_to(ROOT)


def test_files_and_functions_stay_small():
    for path in project_files(".py", ".js", ".css", ".html"):
        if "versions" in path.parts:
            continue  # a migration lists the columns of its tables, and is never edited again
        text = path.read_text(encoding="utf-8")
        assert text.count("\n") <= LONGEST_FILE, path.relative_to(ROOT)
        if path.suffix == ".py":
            for node in ast.walk(ast.parse(text)):
                if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                    length = body_lines(node)
                    assert length <= LONGEST_FUNCTION, (
                        f"{path.relative_to(ROOT)}: {node.name}, {length} lines"
                    )


def body_lines(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Count the lines of a function's body, its docstring left out."""
    first = function.body[0]
    documented = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
    return function.end_lineno - (first.end_lineno if documented else first.lineno - 1)


def test_screens_say_touch():
    for path in project_files(".html", ".js"):
        if path.is_relative_to(ROOT / "dashboards"):
            # but for the tap test itself, and the addresses and files of its page
            said = re.search(
                r"(?<!/)\btap(ped|s)?\b(?! test|/|\.(?:css|js|html|page)\b)",
                path.read_text(encoding="utf-8"),
                re.IGNORECASE,
            )
            assert not said, path
