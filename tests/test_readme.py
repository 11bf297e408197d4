"""README.md: what it tells a reader to type is understood, and does what it says."""

import re
import shlex
from pathlib import Path

import pytest

from estimator import cli

README = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")
# Lists of commands in one line are no commands.
LISTS = "…|,"


def commands():
    """The lines of README's blocks that begin with `estimator`, without their remarks."""
    blocks = re.findall(r"^```\n(.*?)^```", README, flags=re.M | re.S)
    lines = [line for block in blocks for line in block.splitlines()]
    said = [line.partition(" # ")[0].strip() for line in lines if line.startswith("estimator ")]
    return [line for line in said if not re.search(LISTS, line)]


def test_there_are_commands_to_try():
    """The blocks of README are found."""
    assert len(commands()) > 20


@pytest.mark.parametrize("line", commands(), ids=range(len(commands())))
def test_the_command_is_understood(line):
    """Its options and values are those of the program."""
    options, faults = cli._parser().read(shlex.split(line)[1:])
    assert not faults
    assert options.run


def test_what_is_said_of_a_quote_works_on_a_template(tmp_path, monkeypatch, capsys):
    """A reader tries the options in the text on the survey that the first command writes."""
    monkeypatch.chdir(tmp_path)
    options = dict(re.findall(
        r"`--(leave-out|add|worth|budget|ready-by|trace|pricing) ([^`]*)`", README)[::-1])
    assert set(options) == {"leave-out", "add", "worth", "budget", "ready-by", "trace", "pricing"}
    assert cli.main(["template", "dot-matrix", "-o", "survey.csv"]) == 0
    base = ["quote", "survey.csv", "--level", "reconditioned", "--trials", "300",
            "--date", "2026-11-26"]
    tried = (("leave-out", "add", "pricing"), ("budget",), ("ready-by", "worth"), ("trace",))
    for names in tried:
        words = [word for name in names for word in (f"--{name}", *shlex.split(options[name]))]
        assert cli.main(base + words) == 0, (words, capsys.readouterr().err)
