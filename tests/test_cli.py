"""The command: what it prints, what it writes, how it refuses."""

import csv
import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
from broken_surveys import CASES

from estimator import cli
from estimator.review import records_dict
from estimator.shop import new_shop

DEMO = Path(__file__).parent.parent / "data" / "demo" / "survey.csv"
QUOTE = ["quote", str(DEMO), "--level", "shop-job", "--date", "2026-01-05"]


def run(capsys, *arguments):
    """Exit code, output, errors of one command."""
    code = cli.main([str(word) for word in arguments])
    out, err = capsys.readouterr()
    return code, out, err


def test_quote_prints_price_hours_and_odds(capsys):
    """The summary is read by a person: price, hours, chance of a loss, date."""
    code, out, err = run(capsys, *QUOTE)
    assert (code, err) == (0, "")
    for word in ("Price", "Hours", "lose money", "Ready by", "class"):
        assert word in out
    # A chance that is not nought never reads as if it were.
    assert re.search(r"Loss +(none|under 1 in 100|\d+ in 100|over 99 in 100) lose money", out)


def test_quote_answers_in_json_and_writes_the_same(capsys, tmp_path):
    """--json prints what quote.json holds, and the four documents stand in the folder.

    What the shop's own records say moves on from day to day, so it is not in the file.
    """
    code, out, _ = run(capsys, *QUOTE, "--json", "--out", tmp_path / "out")
    assert code == 0
    said = json.loads(out)
    records = {key: said.pop(key) for key in records_dict(None)}
    assert set(records.values()) == {None}
    assert said == json.loads((tmp_path / "out" / "quote.json").read_text(encoding="utf-8"))
    assert {path.name for path in (tmp_path / "out").iterdir()} == {
        "quote.pdf",
        "estimate.xlsx",
        "parts-budget.csv",
        "quote.json",
    }


def test_the_same_command_gives_the_same_bytes(capsys, tmp_path):
    """Run twice, every document is the same file."""
    for name in ("one", "two"):
        run(capsys, *QUOTE, "--out", tmp_path / name)
    for path in (tmp_path / "one").iterdir():
        assert path.read_bytes() == (tmp_path / "two" / path.name).read_bytes(), path.name


@pytest.mark.parametrize("name", sorted(CASES))
def test_a_broken_survey_is_refused_with_its_place_and_nothing_is_written(capsys, tmp_path, name):
    """Exit code 2, a message with the file's name, no traceback, no output folder."""
    path = CASES[name](tmp_path)
    out_folder = tmp_path / "out"
    code, out, err = run(capsys, "quote", path, "--level", "shop-job", "--out", out_folder)
    assert code == 2, (out, err)
    assert out == ""
    assert Path(path).name in err
    assert "Traceback" not in err
    assert not out_folder.exists()


def test_bad_options_are_refused_like_bad_files(capsys):
    """A wrong level, date, extra and confidence each say what is allowed; exit code 2."""
    for extra, wanted in (
        (["--level", "fulll"], "full-restoration"),
        (["--date", "5/1/2026"], "2026-05-01"),
        (["--add", "gold-legs"], "is not an extra"),
        (["--add", "extra-led-set=many"], "NAME=2"),
        (["--confidence", "80"], "0.8 for 80 %"),
        (["--leave-out", "999"], "no line 999"),
        (["--trials", "1"], "100 to 1,000,000"),
        (["--pricing", "free"], "time and materials"),
    ):
        code, out, err = run(capsys, *QUOTE, *extra)
        assert (code, out) == (2, ""), extra
        assert wanted in err, (extra, err)


def test_trace_opens_figures_of_the_quote(capsys):
    """--trace prints what figures are made of, one after the other, and nothing else."""
    code, out, err = run(capsys, *QUOTE, "--trace", "hour_cost", "line-5.hours_mean")
    assert (code, err) == (0, "")
    first, second = re.split(r"\n\n(?=.*\[line-5)", out)
    assert first.splitlines()[0].split()[:2] == ["63.90", "USD/h"]
    assert "rates.csv, row 2" in first
    assert "Expected hours [line-5.hours_mean]" not in first
    assert "[line-5.work-1]" in second
    assert "lose money" not in out


def test_trace_shows_as_many_levels_as_asked_for(capsys):
    """--depth 1 leaves closed what stands below the first level."""
    out = run(capsys, *QUOTE, "--trace", "hour_cost", "--depth", "1")[1]
    assert len(out.splitlines()) == 3
    assert "rates.csv" not in out


def test_trace_answers_in_json_with_the_same_figures(capsys):
    """With --json every opened figure comes as data, down to its rows; its value is the quote's."""
    said = json.loads(run(capsys, *QUOTE, "--json")[1])
    code, out, _ = run(capsys, *QUOTE, "--trace", "price", "total", "--json")
    assert code == 0
    opened = json.loads(out)
    assert [one["key"] for one in opened["figures"]] == ["price", "total"]
    assert [one["value"] for one in opened["figures"]] == [said["price"], said["total"]]
    assert '"place": "treatments.csv, row 2"' in out


def test_a_figure_that_is_none_lists_them_and_nothing_is_written(capsys, tmp_path):
    """Exit code 2, the nearest name, and all that can be opened."""
    code, out, err = run(capsys, *QUOTE, "--trace", "prise", "line-99", "--out", tmp_path / "out")
    assert (code, out) == (2, "")
    assert 'Did you mean "price"?' in err
    assert "hours_p80" in err
    assert "2 faults; nothing was written." in err
    assert not (tmp_path / "out").exists()


def test_trace_writes_the_documents_too_if_asked(capsys, tmp_path):
    """With --out the documents are those of a quote without --trace."""
    for name, more in (("one", []), ("two", ["--trace", "tax"])):
        assert run(capsys, *QUOTE, *more, "--out", tmp_path / name)[0] == 0
    for path in (tmp_path / "one").iterdir():
        assert path.read_bytes() == (tmp_path / "two" / path.name).read_bytes(), path.name


def test_a_refusal_in_json_lists_the_faults(capsys, tmp_path):
    """With --json the faults come as data: file, row, column, what, fix."""
    path = tmp_path / "s.csv"
    path.write_text(
        "machine,era,dot-matrix\nassembly,count,condition,certainty\n"
        "fliper,2,worn,seen\nflipper,-1,worn,seen\n"
    )
    code, out, _ = run(capsys, "quote", path, "--level", "shop-job", "--json")
    assert code == 2
    faults = json.loads(out)["faults"]
    assert [(fault["row"], fault["column"]) for fault in faults] == [(3, "assembly"), (4, "count")]
    assert '"flipper"' in faults[0]["fix"]


def test_template_check_and_quote_follow_one_another(capsys, tmp_path):
    """A template is a draft without fault, and once written it can be quoted."""
    for suffix in ("csv", "xlsx"):
        path = tmp_path / f"survey.{suffix}"
        assert run(capsys, "template", "early solid state", "-o", path)[0] == 0
        assert run(capsys, "check", path)[0] == 0
        assert run(capsys, "quote", path, "--level", "clean")[0] == 0


def test_an_era_that_is_none_lists_them(capsys, tmp_path):
    """The message names the eras and nothing is written."""
    code, _, err = run(capsys, "template", "steam", "-o", tmp_path / "s.csv")
    assert code == 2
    assert "electromechanical" in err
    assert not (tmp_path / "s.csv").exists()


def test_check_reads_a_table_too(capsys, tmp_path):
    """A table with a fault names row and column; exit code 2."""
    folder = new_shop(tmp_path / "shop")
    table = folder / "tables" / "operations.csv"
    assert run(capsys, "check", table)[0] == 0
    with table.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    rows[1][rows[0].index("typical")] = "x"
    with table.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)
    code, out, _ = run(capsys, "check", table)
    assert code == 2
    assert re.search(r"operations\.csv, row 2, typical", out)


def test_new_shop_serves_a_quote(capsys, tmp_path):
    """A shop's own folder prices like the defaults until it is edited."""
    assert run(capsys, "new-shop", tmp_path / "shop")[0] == 0
    code, out, _ = run(capsys, *QUOTE, "--json", "--shop", tmp_path / "shop")
    assert code == 0
    assert json.loads(out) == json.loads(run(capsys, *QUOTE, "--json")[1])


def test_a_fault_of_the_program_is_no_traceback(capsys, monkeypatch):
    """Exit code 1 and one plain sentence, with how to see more."""
    monkeypatch.setattr("estimator.commands.quote.shop_of", lambda options: 1 / 0)
    code, out, err = run(capsys, *QUOTE)
    assert (code, out) == (1, "")
    assert "ESTIMATOR_TRACE=1" in err
    assert "Traceback" not in err


def test_output_cut_short_is_no_fault():
    """`estimator … | head -1` ends quietly."""
    command = f'"{sys.executable}" -m estimator {" ".join(QUOTE[:1])} "{DEMO}" --level clean --json'
    done = subprocess.run(
        f"{command} | head -1", shell=True, capture_output=True, text=True, check=False
    )
    assert done.stderr == ""
    assert done.stdout.strip() == "{"


@pytest.mark.parametrize(("extra", "said"), [
    (("--date", "9999-12-31"), "is not from 1900 to 2199"),
    (("--date", "0001-01-01"), "is not from 1900 to 2199"),
    (("--ready-by", "2026-02-30"), "is a day that there is not"),
    (("--add", "extra-led-set=" + "9" * 1_900), "is not a count"),
    (("--worth", "12=1e308", "--budget", "5"), "does not say what a line is worth"),
    (("--pricing", "x" * 2_001), "holds 2,001 characters; 2,000 are allowed"),
    (("--pricing", "fixed\nprice"), "holds a line break"),
    (("--trace", "price", "\x1b[31m"), "cannot be printed"),
])
def test_what_no_shop_means_is_refused_with_its_cure(capsys, extra, said):
    """Days of another century, figures of 1,900 digits, words that would upset a terminal."""
    code, out, err = run(capsys, *QUOTE, *extra)
    assert (code, out) == (2, "")
    assert said in err


@pytest.mark.parametrize(("extra", "said"), [
    (("--margin", "25%"), "Write 0.15 for 15 %."),
    (("--budget", "1e308"), "out of all range"),
    (("--confidence", "nan"), "is not a number"),
    (("--confidence", ""), "Leave --confidence away, or say it."),
])
def test_a_number_that_is_none_is_refused_with_its_cure(capsys, extra, said):
    """Per cent, infinities and blanks are told how they are written."""
    code, out, err = run(capsys, *QUOTE, *extra)
    assert (code, out) == (2, "")
    assert said in err


def test_choices_files_and_days_are_told_together(capsys):
    """A level, shares, trials, a day and a file that are all wrong: one answer names every one."""
    code, out, err = run(capsys, "quote", "none.csv", "--level", "foo", "--margin", "3",
                         "--confidence", "7", "--trials", "3", "--date", "1.13.2026")
    assert (code, out) == (2, "")
    for said in ("foo", "margin is 3", "confidence is 7", "3 trials", "1.13.2026", "none.csv"):
        assert said in err
    assert "6 faults; nothing was written." in err


@pytest.mark.parametrize(("words", "said"), [
    ((), "No command is named"),
    (("qoute",), 'Did you mean "quote"'),
    (("job",), "estimator job --help"),
    (("job", "shw"), 'Did you mean "show"'),
    (("quote",), "No SURVEY is named"),
    (("quote", DEMO), "--level is missing. Add --level L"),
    (("--seed", "quote", DEMO, "--level", "clean"), "Options stand after the command"),
    ((*QUOTE, "--confidance", "0.8"), 'Did you mean "--confidence"'),
    ((*QUOTE, "--budget"), "Write --budget MONEY"),
    ((*QUOTE, "--json=yes"), "It takes no value"),
    ((*QUOTE, "--le", "clean"), "could match"),
    ((*QUOTE, "--seed", "one"), "Write it like 10000"),
    ((*QUOTE, "--add", "extra-led-set", "--add", "extra-led-set=2"), "named twice"),
    ((*QUOTE, "--budget", "900", "--worth", "3=40", "3=50"), "Line 3 is given a worth twice"),
    (("plan", DEMO, "--level", "clean", "--buy", "chepest"), 'Did you mean "cheapest"'),
])
def test_a_command_typed_wrong_is_told_what_to_type(capsys, words, said):
    """Every slip on the command line has its sentence and its cure; exit code 2, no usage text."""
    code, out, err = run(capsys, *words)
    assert (code, out) == (2, "")
    assert said in err
    assert "usage:" not in err


def test_all_slips_of_a_command_are_told_at_once_and_to_programs_too(capsys):
    """What is unknown, unreadable, missing and too much stands in one list, with --json as JSON."""
    code, out, err = run(capsys, "quote", DEMO, "else.csv", "--levle", "clean", "--seed", "one",
                         "--json")
    faults = json.loads(out)["faults"]
    assert code == 2
    assert len(faults) == 4
    assert all(fault["what"] and fault["fix"] for fault in faults)
    assert [fault["column"] for fault in faults if fault["column"]] == ["--seed"]
    assert "4 faults; nothing was written." in err


def test_faults_of_options_and_of_the_survey_are_told_together(capsys, tmp_path):
    """A level, a day, a count and a worth that are none, and a survey that is not there."""
    code, _, err = run(capsys, "quote", tmp_path / "none.csv", "--level", "sparkling", "--date",
                       "2026-02-30", "--add", "extra-led-set=x", "--worth", "3", "--budget", "900")
    assert code == 2
    assert "5 faults" in err


def test_words_of_an_option_may_come_in_several_goes(capsys):
    """--leave-out 15 --leave-out 16 leaves out both, as --leave-out 15 16 does."""
    both, apart, last = (
        json.loads(run(capsys, *QUOTE, "--trials", 100, "--json", *extra)[1])["price"]
        for extra in (("--leave-out", 15, 16), ("--leave-out", 15, "--leave-out", 16),
                      ("--leave-out", 16)))
    assert both == apart < last


def test_a_quote_without_a_number_is_not_taken_for_the_list(capsys, tmp_path):
    """A script whose number is blank must not go on as if the outcome were booked."""
    code, out, err = run(capsys, "quotes", "", "won", "--shop", new_shop(tmp_path / "shop"))
    assert (code, out) == (2, "")
    assert "No quote" in err


def test_a_name_too_long_for_a_file_is_bad_input(capsys, tmp_path):
    """The folder's name is at fault, not the program."""
    assert run(capsys, "new-shop", tmp_path / ("x" * 300))[0] == 2


@pytest.mark.parametrize(("command", "name"), [("quote", "parts-budget.csv"),
                                               ("plan", "plan.csv")])
def test_a_survey_is_not_written_over_by_its_documents(capsys, tmp_path, command, name):
    """A survey that has the name of a document, in the folder they go to, stays as it is."""
    path = tmp_path / name
    path.write_bytes(DEMO.read_bytes())
    code, _, err = run(capsys, command, path, "--level", "clean", "--trials", 200, "--out",
                       tmp_path)
    assert (code, "written over" in err) == (2, True)
    assert path.read_bytes() == DEMO.read_bytes()
    assert list(tmp_path.iterdir()) == [path]
