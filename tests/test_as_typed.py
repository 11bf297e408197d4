"""What is wrong with a command names the option as it was typed, for every command and option."""

import argparse
import json
from pathlib import Path

import pytest

from estimator import cli, jobs, survey
from estimator.demo import small_quote, small_shop, small_survey

TOO_LONG = "x" * (cli.LONGEST_WORD + 1)
WRONG = {"YYYY-MM-DD": "2026-02-30", "TIME": "25 past"}
"""What is no value of an option, by what stands for it; of all others that have a type, "many"."""
RIGHT = {"N": "1", "ID": "1", "ENTRY": "1", "MONEY": "1", "YYYY-MM-DD": "2026-03-02"}
"""What is one; of all others "x"."""


def commands(parser, before=()):
    """Every command with its parser, as the words that call it."""
    below = [one for one in parser._actions if isinstance(one, argparse._SubParsersAction)]
    if not below:
        return [(before, parser)]
    return [found for name, one in below[0].choices.items()
            for found in commands(one, (*before, name))]


COMMANDS = dict(commands(cli._parser()))


def name_of(action):
    """What an argument is called where it is typed."""
    return max(action.option_strings, key=len) if action.option_strings \
        else action.metavar or action.dest.upper()


def line(words, wrong):
    """A command with what it cannot do without, and these words for arguments that are wrong."""
    said = list(words)
    for action in COMMANDS[words]._options:
        word = wrong.get(action, RIGHT.get(action.metavar, "x"))
        if action in wrong or action.required or not action.option_strings:
            said.append(f"{name_of(action)}={word}" if action.option_strings else word)
    return [*said, *(["--json"] if words != ("pages",) else [])]


def places(capsys, words):
    """Where the faults of a command stand, of which it may do nothing but tell them."""
    assert cli.main(words) == 2, words
    out, err = capsys.readouterr()
    return [fault["column"] for fault in json.loads(out)["faults"]] if out else \
        [one.partition(":")[0] for one in err.splitlines()[:1]]


@pytest.mark.parametrize("words", COMMANDS, ids=" ".join)
def test_a_word_that_cannot_be_is_told_at_its_option(words, capsys, monkeypatch, tmp_path):
    """Too long, blank, or no number, day or time; all at once too, and nothing is made of them."""
    monkeypatch.chdir(tmp_path)
    taking = [one for one in COMMANDS[words]._options if one.nargs != 0]
    typed = {one: WRONG.get(one.metavar, "many") for one in taking
             if one.type is not None and one.type.args[0] is not Path}
    for action in taking:
        for word in (TOO_LONG, *([typed[action]] if action in typed else []),
                     *(["", " "] if action.type is not None else [])):
            assert places(capsys, line(words, {action: word})) == [name_of(action)], word[:9]
    if typed and words != ("pages",):
        assert sorted(places(capsys, line(words, typed))) == sorted(map(name_of, typed))
    assert list(tmp_path.iterdir()) == []


LEVEL = ("s.csv", "--level", "clean", "--trials", "100")
DEAL = ("s.csv", "--value", "5000", "--asking", "2000")
PLAN = ("s.csv", "--level", "full", "--trials", "100", "--seconds", "0")


@pytest.mark.parametrize(("words", "option", "word"), [
    (("quote", "s.csv"), "--level", "superb"),
    *((("quote", *LEVEL), option, word) for option, word in (
        ("--pricing", "by eye"), ("--confidence", "1"), ("--margin", "-1"), ("--leave-out", "99"),
        ("--add", "extra-wings"), ("--add", "extra-led-set=0"), ("--budget", "0"),
        ("--ready-by", "2026-01-01"), ("--sampler", "dice"), ("--trace", "luck"),
        ("--date", "soon"), ("--worth", "1"))),
    (("quote", "s.csv", "--level", "clean"), "--trials", "3"),
    *((("plan", *PLAN), option, word) for option, word in (
        ("--start", "soon"), ("--due", "soon"), ("--promise", "2"), ("--buy", "dear"),
        ("--day-worth", "-1"), ("--parcel-worth", "5"), ("--workers", "0"), ("--labels", "z"))),
    (("plan", "s.csv"), "--level", "superb"), (("plan", *PLAN[:5]), "--seconds", "-1"),
    (("plan", *PLAN[:3]), "--trials", "3"), (("plan",), "--jobs", "no job"),
    (("resell", "s.csv"), "--value", "-1"),
    *((("resell", *DEAL), option, word) for option, word in (
        ("--value-low", "9999"), ("--fee", "2"), ("--premium", "-1"), ("--purchase-tax", "7"),
        ("--fetching", "-1"), ("--want", "9"), ("--want-profit", "-5"), ("--confidence", "2"),
        ("--hours-per-week", "0"), ("--wait", "9999"), ("--storage", "-1"), ("--capital", "9"),
        ("--bench-earns", "-1"), ("--budget", "0"), ("--hours", "0"), ("--way", "by post"),
        ("--buying", "by post"), ("--parts-way", "by post"), ("--date", "soon"),
        ("--found", "shiny"), ("--ready-by", "2020-01-01"), ("--trials", "3"))),
    *((("lot", "lot.csv"), option, word) for option, word in (
        ("--fee", "2"), ("--premium", "-1"), ("--confidence", "2"), ("--way", "by post"),
        ("--date", "soon"), ("--trials", "3"), ("--capital", "9"), ("--top", "-1"))),
    (("job", "show"), "JOB", "no job"), (("job", "state", "Harbour Lights"), "STATE", "lost"),
    (("job", "accept"), "NUMBER", "Q0"), (("quotes",), "NUMBER", "Q0 won"),
    (("job", "done", "Harbour Lights"), "ITEM", "99"),
    (("job", "bought", "legs", "--amount", "3"), "--job", "no job"),
    (("job", "bought", "legs", "--amount", "3"), "--part", "wing"),
    (("job", "bought", "legs", "--amount", "3"), "--quantity", "0"),
    (("job", "sent-out", "legs"), "--service", "magic"),
    (("job", "sold", "it"), "--amount", "-5"), (("job", "amounts"), "--job", "no job"),
    *((("time", "add", "--person", "Anna", "--job", "Harbour Lights", "--hours", "1"), *said)
      for said in (("--item", "99"), ("--unbilled", "sleep"))),
    *((("time", "add", "--person", "Anna", "--unbilled", "ordering"), *said)
      for said in (("--job", "no job"), ("--hours", "99"), ("--hours", "0"))),
    (("time", "start"), "--job", "no job"), (("time", "stop"), "--person", "Nobody"),
    (("time", "list"), "--job", "no job"),
    (("time", "list", "--since", "2026-03-02"), "--until", "2026-03-01"),
    (("plan", *PLAN), "--start", "1900-01-01"), (("review",), "JOB", "no job"),
], ids=lambda said: "_".join(said) if isinstance(said, tuple) else said)
def test_a_value_that_the_shop_does_not_take_is_told_at_its_option(bench, capsys, words, option,
                                                                   word):
    """What only the tables, the ledger or the reckoning can refuse."""
    given = [f"{option}={word}"] if option.startswith("-") else word.split()[:1] \
        if option == "NUMBER" and words[0] == "job" else [word] if option != "NUMBER" \
        else word.split()
    told = places(capsys, [*words, *given, "--shop", str(bench), "--json"])
    assert set(told) == {option}


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A shop with jobs, in a folder with a survey and an auction list; its folder."""
    here = tmp_path_factory.mktemp("typed")
    with small_shop() as (ledger, shop), pytest.MonkeyPatch.context() as patch:
        patch.chdir(here)
        survey.write(small_survey(), here / "s.csv", shop.catalogue)
        (here / "lot.csv").write_text(
            "lot,title,year,state,value,asking\n1,Comet,1992,working,3000,1200\n")
        jobs.keep(ledger, small_quote("Glass Town"), shop)
        ledger.close()
        yield shop.folder
