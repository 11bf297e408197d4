"""The shop folder: written with every figure explained, read back, faults named."""

import csv
import tomllib

import pytest

from estimator.catalogue import TABLES, load
from estimator.errors import BadInput
from estimator.shop import WORDS, Settings, new_shop, open_shop


def test_every_setting_has_a_default_with_its_source_and_nothing_else_has():
    """The rows of rates.csv are the settings of shop.toml, one for one."""
    assert set(load().rates) == set(Settings.model_fields) - set(WORDS)


def test_a_new_shop_opens_with_the_trade_s_defaults(tmp_path):
    """What is written is what is read: the same settings, the same tables."""
    shop = open_shop(new_shop(tmp_path / "shop"))
    assert shop.settings == open_shop().settings
    assert shop.catalogue.tables == open_shop().catalogue.tables
    written = {path.stem for path in (tmp_path / "shop" / "tables").iterdir()}
    assert written == {row.table for row in TABLES} - {"rates"}


def test_every_setting_is_explained_in_place(tmp_path):
    """Each key of shop.toml stands under a comment, with where its default comes from."""
    text = (new_shop(tmp_path / "shop") / "shop.toml").read_text(encoding="utf-8")
    lines = text.splitlines()
    for key in tomllib.loads(text):
        place = next(i for i, line in enumerate(lines) if line.startswith(f"{key} ="))
        assert lines[place - 1].startswith("# "), key


def test_a_setting_and_a_table_of_the_shop_come_before_the_defaults(tmp_path):
    """A changed rate and a changed row are what the shop computes with."""
    folder = new_shop(tmp_path / "shop")
    path = folder / "shop.toml"
    path.write_text(
        path.read_text(encoding="utf-8").replace("pay_per_hour = 30", "pay_per_hour = 44"),
        encoding="utf-8",
    )
    table = folder / "tables" / "parts.csv"
    with table.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    rows[1][rows[0].index("high")] = "99999"
    with table.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)
    shop = open_shop(folder)
    assert shop.settings.pay_per_hour == 44
    assert next(iter(shop.catalogue.parts.values())).high == 99999


def test_every_fault_of_the_settings_is_said_at_once(tmp_path):
    """A share in per cent, an unknown key and a text for a number come together."""
    folder = new_shop(tmp_path / "shop")
    (folder / "shop.toml").write_text('margin = 25\nmarginn = 1\npay_per_hour = "much"\n')
    with pytest.raises(BadInput) as caught:
        open_shop(folder)
    said = str(caught.value)
    assert "margin: 25" in said
    assert "0.25 for 25 %" in said
    assert 'no setting "marginn"' in said
    assert '"margin"' in said
    assert "pay_per_hour" in said


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("margin = = 3", "cannot be read"),
        ('locale = "xx_nowhere"', "not a locale"),
        ('currency = "dollars"', "currency"),
    ],
)
def test_a_broken_settings_file_is_named(tmp_path, text, wanted):
    """TOML that is none, a locale and a currency that are none."""
    folder = new_shop(tmp_path / "shop")
    (folder / "shop.toml").write_text(text)
    with pytest.raises(BadInput, match=wanted):
        open_shop(folder)


def test_a_shop_is_never_written_over(tmp_path):
    """A second new-shop in the same folder refuses and changes nothing."""
    folder = new_shop(tmp_path / "shop")
    (folder / "shop.toml").write_text("margin = 0.4\n")
    with pytest.raises(BadInput, match="already"):
        new_shop(folder)
    assert (folder / "shop.toml").read_text() == "margin = 0.4\n"


def test_a_folder_that_is_no_shop_says_how_to_make_one(tmp_path):
    """The message holds the command."""
    with pytest.raises(BadInput, match="estimator new-shop"):
        open_shop(tmp_path)


def test_an_address_of_the_ledger_that_is_none_says_how_to_write_one(tmp_path):
    """Only PostgreSQL has an address; a blank one is the file in the folder."""
    folder = new_shop(tmp_path / "shop")
    assert open_shop(folder).settings.ledger == ""
    (folder / "shop.toml").write_text('ledger = "sqlite:///x.db"\n', encoding="utf-8")
    with pytest.raises(BadInput, match=r"ledger: .*postgresql\+psycopg://"):
        open_shop(folder)


def test_people_and_closed_days_are_read_as_they_are_shown(tmp_path):
    """The examples in a new shop.toml are good once the marks are taken away, and all they say."""
    path = new_shop(tmp_path / "shop") / "shop.toml"
    head, _, tail = path.read_text(encoding="utf-8").partition("# What follows comes last")
    lines = [line.removeprefix("# ") for line in tail.splitlines()[1:]]
    shown = [line for line in lines if line.startswith("[[") or " = " in line]
    path.write_text(head + "\n".join(shown), encoding="utf-8")
    (person,), (closed,) = (lambda s: (s.people, s.closed))(open_shop(path.parent).settings)
    assert (person.name, person.pace, person.hours.split()[2]) == ("Mara", 0.95, "closed")
    assert (closed.first.isoformat(), closed.last.isoformat()) == ("2026-12-24", "2027-01-03")


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ('open_hours = "9-17"', "open_hours"),
        ('open_hours = "9-25 9-17 9-17 9-17 9-17 closed closed"', "open_hours"),
        ('country = "Freedonia"', "country"),
        ('[[people]]\nname = "Mara"\nskills = "juggling"', "people"),
        ('[[closed]]\nfirst = 2026-12-24\nlast = 2026-12-20', "comes before first"),
    ],
)
def test_a_calendar_that_is_none_is_named(tmp_path, text, wanted):
    """Hours, countries, skills and days that cannot be, each with its setting."""
    folder = new_shop(tmp_path / "shop")
    (folder / "shop.toml").write_text(text)
    with pytest.raises(BadInput, match=wanted):
        open_shop(folder)


def test_settings_in_another_encoding_are_told_how_to_be_saved(tmp_path):
    """Windows-1252 out of an editor: the cure is the encoding, not the quotes."""
    folder = new_shop(tmp_path / "shop")
    (folder / "shop.toml").write_bytes('name = "Grüß Gott"\n'.encode("cp1252"))
    with pytest.raises(BadInput, match=r"not UTF-8 text\. Save it as UTF-8"):
        open_shop(folder)
