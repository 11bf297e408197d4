"""Spoiled files of every kind that a user can hand over: refused with place and cure, or read.

A few of each family, the same on every run; `tests/fuzzing/run.py` tries thousands.
"""

from __future__ import annotations

import json
import sqlite3
from datetime import date
from decimal import Decimal

import pytest
from fuzzing import families, hostile, mutations
from hypothesis import given, settings
from hypothesis import strategies as st

from estimator import catalogue, ledger, survey
from estimator.cli import main
from estimator.errors import BadInput, Fault, quoted, unfit
from estimator.ledger import rules
from estimator.pages import desk
from estimator.review import proposals
from estimator.shop import Settings, new_shop, open_shop

FINE = (families.ACCEPTED, families.REFUSED)
# Opening a shop or a ledger takes a tenth of a second, reading a file a hundredth.
CASES = {"archive": 10, "shop-toml": 40, "sent": 10, "pieces": 6, "command": 6}
# These take seconds or hundreds of megabytes to make; the long run has them all.
LARGE = {"backup_bomb", "bomb_that_lies", "bomb_of_many_parts", "bomb_packed_otherwise",
         "strings_without_end", "rows_without_cells", "one_string_of_20_megabytes", "wide_rows",
         "millions_of_blank_rows", "millions_of_commas", "a_table_too_big", "names_without_end",
         "long_assembly_names", "formats_without_end", "a_long_list", "parts_without_end",
         "thousands_of_sheets", "elements_nested_deep", "a_million_headers"}


@pytest.fixture(scope="module")
def family(tmp_path_factory):
    """Families by name, each set up once."""
    made = {}

    def find(name):
        if name not in made:
            made[name] = families.FAMILIES[name](tmp_path_factory.mktemp(name))
        return made[name]

    return find


@pytest.mark.parametrize("name", families.FAMILIES)
def test_a_good_file_of_each_family_is_read(family, name):
    """What the others are spoiled from is fine: a refusal is owed to what was spoiled."""
    for file, data in family(name).seeds[:4]:
        assert families.verdict(family(name), file, data) in FINE
    file, data = family(name).seeds[0]
    assert families.verdict(family(name), file, data) == families.ACCEPTED


@pytest.mark.parametrize("name", families.FAMILIES)
def test_a_spoiled_file_is_refused_with_place_and_cure_or_read(family, name):
    """No traceback, no word of a library, no character that harms a terminal."""
    kind = family(name)

    @settings(max_examples=CASES.get(name, 60))
    @given(st.sampled_from(kind.seeds), st.randoms(use_true_random=False))
    def check(seed, chance):
        file, good = seed
        assert families.verdict(kind, file, kind.spoil(chance, good)) in FINE

    check()


@pytest.mark.parametrize("name", sorted(hostile.FILES.keys() - LARGE))
def test_a_file_made_to_harm_does_none(family, name):
    """Bombs, false sizes, deep nesting, odd codings: refused, or read for what they hold."""
    kind, file, make = hostile.FILES[name]
    assert families.verdict(family(kind), file, make()) in FINE


@pytest.mark.parametrize(("name", "said"), [
    ("number_of_400_digits", "is not a number that can be used"),
    ("sheets_far_below", "300 sheets; 200 are allowed"),
    ("entities_in_utf16", "not coded in UTF-8"),
    ("entities_in_a_part_of_another_name", "declares entities"),
    ("one_string_of_20_megabytes", "20,000,000 characters, more than a cell can"),
    ("strings_without_end", "far bigger than any survey"),
    ("rows_out_of_order", "do not stand in their order"),
    ("cells_out_of_order", "do not stand in their order"),
    ("parts_without_end", "3,005 parts; 2,000 are allowed"),
    ("formats_without_end", "of formats, names and rules"),
    ("keys_nested_deep", "shop.toml, row 1: The row has"),
    ("arrays_nested_deep", "shop.toml, row 1: The row has"),
    ("a_very_long_number", "shop.toml, row 1: The row has"),
    ("thousands_of_people", "There are more than 100 of them"),
    ("rows_of_other_places", "is missing or damaged"),
    ("a_table_of_faults", "There are 200 faults above; the rest was not read."),
])
def test_what_harms_is_named(family, name, said):
    """The refusal tells what was found, not that something is damaged."""
    kind, file, make = hostile.FILES[name]
    with pytest.raises(BadInput, match=said):
        family(kind).read(file, make())


# Each of these failed before it was mended


def test_a_hidden_character_that_turns_the_text_is_refused_and_never_shown():
    """U+202E makes "gpj.exe" of "exe.jpg": not in a cell, and not in the message about it."""
    with pytest.raises(BadInput) as caught:
        survey.read_bytes("assembly,count,condition,certainty,note\n"
                          "flipper,2,worn,seen,photo\u202egpj\n".encode(), "s.csv",
                          catalogue.load())
    assert "row 2, note" in str(caught.value)
    assert "turns the order of the text (U+202E)" in str(caught.value)
    assert "\u202e" not in str(caught.value)
    assert str(Fault("a\u202eb", "\x1b[31m", "c\x00.csv")) == "c�.csv: a�b �[31m"


def test_marks_of_writing_from_right_to_left_may_stand():
    """A name in Hebrew or Arabic holds U+200E and U+200F; they turn nothing else."""
    assert unfit("\u200fאבי\u200e") == ""


@pytest.mark.parametrize(("amount", "currency", "said"), [
    ("1e-9", "USD", "less than the smallest coin: 0.01 USD"),
    ("0.4", "JPY", "less than the smallest coin: 1 JPY"),
    ("1e13", "USD", "over 1,000,000,000,000"),
    ("NaN", "USD", "must be 0 or more"),
])
def test_a_sum_that_no_coin_can_pay_is_not_booked(tmp_path, amount, currency, said):
    """A millionth of a cent is a slip of the keyboard; it would stand in sums for good."""
    book = ledger.Ledger(tmp_path)
    bought = ledger.Purchase(day=date(2026, 3, 4), supplier="Oakbench", what="Kit", quantity=1,
                             unit="kit", amount=Decimal(amount), currency=currency)
    with pytest.raises(BadInput, match=said):
        book.add(bought, now=families.NOW)
    book.close()


def test_hours_and_quantities_too_small_to_be_meant_are_not_booked():
    """A billionth of an hour, and of a piece."""
    known = rules.Known(unbilled=["tools"], now=families.NOW)
    entry = ledger.TimeEntry(person="Anna", day=date(2026, 3, 4), hours=1e-9, unbilled="tools")
    assert "less than a second" in str(rules.judge([entry], known)[0][0])
    bought = ledger.Purchase(day=date(2026, 3, 4), supplier="", what="Kit", quantity=1e-9,
                             unit="kit", amount=Decimal(1), currency="USD")
    assert [fault.column for fault in rules.amounts_wrong(bought, known)] == ["quantity"]


@pytest.mark.parametrize(("command", "word"), [
    (["lot", "FILE"], "auction list"), (["time", "import", "FILE", "--shop", "SHOP"], "time sheet"),
    (["check", "FILE"], "survey")])
def test_a_message_calls_a_file_what_it_should_be(tmp_path, capsys, command, word):
    """Nobody who hands over a time sheet is told about a survey."""
    (tmp_path / "given.csv").write_bytes(b"x" * (9 * 2**20))
    new_shop(tmp_path / "shop")
    names = {"FILE": str(tmp_path / "given.csv"), "SHOP": str(tmp_path / "shop")}
    assert main([names.get(part, part) for part in command]) == 2
    said = "".join(capsys.readouterr())
    assert f"{word} is at most 8 MB" in said
    assert f"rows of the {word}" in said


@pytest.mark.parametrize(("line", "said"), [
    ("margin = 25", "margin: 25 is out of range. Write a number, 0 or more and under 1"),
    ("storage_per_week = 1e30", "storage_per_week: .* is out of range"),
    ("pay_per_hour = 1e30", "pay_per_hour: .* is out of range"),
    ("margin = true", "margin: true is neither a number nor words"),
    ("stage_count = 2.5", "stage_count: 2.5 is not a whole number"),
    ('paper = "a5"', "Allowed: us-letter, a4."),
    ('open_hours = "9-17"', "from-to or closed"),
    ("region = 5", "Write it in quotes."),
    ('hand_bench = ""', "hand_bench: "),
    ('[[people]]\nname = "Mara"\nskills = "x"', "people 1, skills: .*Write one or more of bench"),
    ('[[people]]\nname = "Mara"\nskills = "bench"\npace = 99', "people 1, pace: 99 is out of"),
    ('name = "a\\u202eb"', "turns the order of the text"),
    ("stage_count = " + "9" * 1_900, "out of range|not a whole number"),
    ("margin = 1\nx = [", "shop.toml"),
])
def test_settings_are_refused_in_plain_words(tmp_path, line, said):
    """What the library that checks them says is nothing for a restorer."""
    folder = new_shop(tmp_path / "shop")
    (folder / "shop.toml").write_text(line, encoding="utf-8")
    with pytest.raises(BadInput, match=said) as caught:
        open_shop(folder)
    assert not families.unfit(caught.value.faults, of_file=True)


def test_every_setting_refuses_in_plain_words():
    """Of each setting the wrong kinds of value, one by one."""
    from estimator.shop import _settings

    tables = catalogue.load()
    for name in Settings.model_fields:
        for value in (-1, 1e9, float("nan"), [], {}, "?", date(2026, 3, 4), True, "x" * 9_999):
            kind = families.Family("t", (), mutations.of_toml, lambda key, _, value=value:
                                   _settings(tables, {key: value}, "shop.toml"))
            assert families.verdict(kind, name, b"") in FINE, (name, value)


@pytest.mark.parametrize(("text", "said"), [
    ("part;name;low;typical;high;unit;basis;source;dated\n", "parted by semicolons"),
    ("part\tname\tlow\ttypical\thigh\tunit\tbasis\tsource\tdated\n", "parted by tabs"),
    ('part,name\nx,"y\n', "quotation marks"),
    ("part,name\nx,a\x07b\n", r"row 2: .*U\+0007"),
    ("part,name\nx,a\0b\n", "zero bytes"),
])
def test_a_table_that_is_none_is_refused_for_what_it_is(tmp_path, text, said):
    """Other marks, open quotes that would swallow the rest, characters that cannot be printed."""
    path = tmp_path / "parts.csv"
    path.write_text(text, encoding="utf-8")
    rows, faults, _ = catalogue.read_table(path, catalogue.Part)
    assert not rows
    with pytest.raises(BadInput, match=said):
        raise BadInput(faults)


@pytest.mark.parametrize("content", [
    {"machine": "x"}, {"machine": {"title": {"a": 1}}}, {"lines": 5}, {"lines": ["x", None]},
    {"lines": [{"assembly": ["flipper"]}]}, {"lines": [{"assembly": "flipper", "count": 10**400}]},
    {"extras": {"a": []}}, {"confidence": float("nan")}, {"margin": "0.2"}, {"budget": "x"},
    {"level": []}, {"lines": [{"assembly": "flipper", "worth": -1}]},
])
def test_a_draft_that_was_damaged_opens_without_what_is_damaged(content):
    """A draft that does not open helps nobody, and nothing of it may stop the next save."""
    found, _ = desk.from_json(content, catalogue.load())
    json.dumps(desk.as_json(found), allow_nan=False)


def test_a_backup_whose_rows_no_list_can_show_is_not_put_back(tmp_path):
    """One outcome that is none would stop every list of quotes: the ledger stays as it was."""
    from ledgers import with_job

    for name in ("old", "new"):
        (tmp_path / name).mkdir()
    old = ledger.Ledger(tmp_path / "old", "")
    with_job(old)
    ledger.backup(old, tmp_path / "backup")
    old.close()
    with sqlite3.connect(tmp_path / "backup") as connection:
        connection.execute("UPDATE sent SET outcome = 'wol'")
    connection.close()
    new = ledger.Ledger(tmp_path / "new", "")
    with pytest.raises(BadInput, match=r"sent.json: The table is damaged: a cell cannot be read."):
        ledger.restore(new, tmp_path / "backup")
    assert list(new.jobs()) == []
    new.close()


def test_a_closed_time_of_ten_thousand_years_is_counted_within_the_plan():
    """Days that lie outside the plan are not gone through one by one."""
    from estimator.schedule.hours import calendars
    from estimator.schedule.tasks import people_of
    from estimator.shop import Closed

    plain = open_shop().settings
    closed = (Closed(first=date(1, 1, 1), last=date(9999, 12, 31), hours="13-15"),) * 50
    found = calendars(plain.model_copy(update={"closed": closed}), date(2026, 3, 4), 5,
                      people_of(plain))
    assert found[0].spans[0] == (9 * 60, 13 * 60)


def test_a_fault_is_one_line_whatever_it_tells_of():
    """A cell with an error that ends a line in the middle, and a word on the command line."""
    said = str(Fault("Odd\u2029\n\tvalue.", "Type\u2028it.", "a\r\n.csv"))
    assert said == "a .csv: Odd value. Type it."
    _, data = families.FAMILIES["survey-xlsx"](None).seeds[1]
    parts = mutations.unpacked(data)
    sheet = "xl/worksheets/sheet1.xml"
    parts[sheet] = parts[sheet].replace(b"#REF!", "#\u2029\u00e9".encode())
    with pytest.raises(BadInput, match=r"holds the error # \u00e9\. Type the value."):
        survey.read_bytes(mutations.packed(parts), "s.xlsx", catalogue.load())


@pytest.mark.parametrize("words", [["job", "\n"], ["quotes", "1", "won", "x" * 9_000],
                                   ["quotes", "--x" + "y" * 9_000], ["job", "x\ny" * 900],
                                   ["plan", "s.csv", "--buy", "z" * 9_000], ["x" * 9_000],
                                   ["lot", "--example", "x" * 9_000], ["check", "x" * 9_000]])
def test_what_is_pasted_after_the_command_is_not_given_back_whole(capsys, words):
    """A page pasted by mistake would fill the terminal with itself."""
    assert main(words) == 2
    said = capsys.readouterr().err
    assert len(said) < 600
    assert said.count("\n") == 1


@pytest.mark.parametrize("said", [
    "", "[", "[" * 9_000, "[]", '{"decisions": 5}', '{"decisions": [{"key": ["a"]}]}',
    '{"decisions": [{"key": "a", "did": "accepted", "zz": 1}]}',
    '{"decisions": [{"key": "a", "did": "accepted", "file": "../x.csv", "done": false}]}',
    '{"decisions": [{"key": "a", "did": "accepted", "after": 5}]}'])
def test_a_damaged_log_of_decisions_is_told(tmp_path, said):
    """Kept by this version or an earlier one: nothing is decided on what cannot be read."""
    shop = open_shop(new_shop(tmp_path / "shop"))
    for name in ("decided.json", "accepted.json"):
        (shop.folder / "tables" / name).write_text(said if name[0] == "d" else f'{{"x": {said}')
        with pytest.raises(BadInput, match=f"{name}: The log of decisions on proposals cannot"):
            proposals.decisions(shop)
        (shop.folder / "tables" / name).unlink()


def test_a_refusal_has_no_table_to_be_written(tmp_path):
    """Also where the log does not say that it is done."""
    shop = open_shop(new_shop(tmp_path / "shop"))
    (shop.folder / "tables" / "decided.json").write_text(
        '{"decisions": [{"key": "a", "did": "refused", "done": false}]}')
    (one,) = proposals.decisions(shop)
    assert one.done


@pytest.mark.parametrize(("part", "said"), [
    ("survey", []), ("choices", {"level": ["clean"]}), ("choices", {"dropped": {}}),
    ("survey", {"machine": {"era": "modern"}, "lines": [{"assembly": ["x"]}], "file": ""}),
    ("survey", {"machine": {"year": 1994}, "lines": [], "file": ""}), ("settings", [1]),
    ("choices", {"level": "clean", "margin": float("nan")}), ("choices", {"added": [["x", 1]]}),
    ("survey", {"machine": {"era": "modern"}, "lines": [{"assembly": "powr-cord"}], "file": ""}),
    ("lines", {"count": 10**400}), ("lines", {"count": -1}), ("lines", {"length_mm": 1e308}),
    ("choices", {"added": [["extra-led-set", 10**20]]}), ("settings", {"locale": "-0"})])
def test_a_quote_that_was_spoiled_in_the_ledger_is_not_computed_again(family, part, said):
    """It would stop in the middle of the figures, or give others."""
    _, data = family("sent").seeds[0]
    held = json.loads(data)
    if part == "lines":
        held["survey"]["lines"][0] |= said
    else:
        held[part] = held[part] | said if isinstance(said, dict) and part != "survey" else said
    with pytest.raises(BadInput, match="cannot compute it again"):
        family("sent").read("", json.dumps(held).encode())


def test_a_spoiled_piece_of_an_auction_list_is_judged_anew(family):
    """A figure that is none would stop the papers; the piece is written again as it was."""
    name, data = family("pieces").seeds[0]
    for spoiled in (data.replace(b"[[", b"[[[],", 1), data.replace(b"[[", b"[[NaN,", 1),
                    b"[" * 9_000, json.dumps([[None] * 16] * 2).encode()):
        family("pieces").read(name, spoiled)


def test_a_ledger_whose_names_are_no_text_is_told_as_damaged(tmp_path):
    """SQLite quotes them in what it says, which is then no text either."""
    book = ledger.Ledger(tmp_path, "")
    book.save(ledger.Draft("a", "A draft", {}))
    book.close()
    path = tmp_path / ledger.FILE
    path.write_bytes(path.read_bytes().replace(b"CREATE TABLE drafts", b"CREATE TABL\xc2 drafts"))
    book = ledger.Ledger(tmp_path, "")
    with pytest.raises(BadInput, match="The ledger is damaged"):
        book.drafts()
    book.close()


def test_a_form_that_was_kept_nested_deep_opens_blank(tmp_path):
    """What was typed is lost then, and no page stops."""
    from estimator.pages.unbooked import Unbooked

    (tmp_path / "typed").mkdir()
    (tmp_path / "typed" / "typed-1f.json").write_text("[" * 99_999)
    assert Unbooked(tmp_path).of("booking") == {}


def test_what_is_quoted_stays_on_one_line_and_short():
    """Whatever a cell holds, its place in a message is 40 characters of one line."""
    assert quoted("a\n\tb\u202e" + "x" * 9_999).startswith('"a b�xxx')
    assert len(quoted("x" * 9_999)) == 42


def test_the_same_number_is_the_same_file():
    """A case that fails on one machine can be shown on another."""
    kind = families.Family("t", (("a.csv", b"a,b\n1,2\n"),), mutations.of_table, lambda *_: None)
    once, again = ([kind.case(number) for number in range(20)] for _ in range(2))
    assert once == again
