"""A shop small enough to reckon by hand: tables made of a few rows, settings of round figures."""

from datetime import date

from estimator import catalogue
from estimator.catalogue import Catalogue, Certainty, Condition, Era, Level
from estimator.shop import Settings, Shop
from estimator.survey.records import Line, Machine, Survey

STAND = {
    "unit": "each",
    "basis": "invented for the demo",
    "source": "made up for a test",
    "dated": date(2026, 1, 1),
}

PLAIN = {
    "pay_per_hour": 25,
    "on_cost_share": 0,
    "paid_hours_per_year": 1000,
    "overhead_per_year": 0,
    "productive_share": 1,
    "margin": 0,
    "confidence": 0.8,
    "cap_confidence": 0.9,
    "warranty_share": 0,
    "setup_cleanup_share": 0,
    "rework_share": 0,
    "learner_multiplier": 1,
    "parts_freight_share": 0,
    "parts_markup": 0,
    "materials_markup": 0,
    "outwork_markup": 0,
    "billing_increment_hours": 0.25,
    "assumed_worse_chance": 0,
    "hidden_worse_chance": 0,
    "job_factor_share": 0,
    "person_factor_share": 0,
    "kind_factor_share": 0,
    "share_start_jobs": 10,
    "cause_share": 0,
    "repeat_correlation": 1,
    "deposit_share": 0.5,
    "stage_count": 3,
    "validity_days": 30,
    "grace_days": 14,
    "storage_per_week": 0,
    "tax_labour": 0,
    "tax_parts": 0,
    "tax_materials": 0,
    "tax_outwork": 0,
    "round_price_to": 0,
    "bench_hours_per_week": 40,
    "late_per_day": 0,
    "order_confidence": 0.9,
    "order_margin_days": 0,
    "price_stale_days": 180,
    "price_spread_per_year": 0,
    "value_spread": 0,
    "ratio_share": 0,
    "storage_cost_per_month": 0,
    "capital_rate_per_year": 0,
    "bench_hour_earns": 0,
    "disposal_cost": 0,
    "incomplete_share": 0.15,
    "inspection_sees": 0.7,
    "inspection_false_alarm": 0.1,
}


def row(kind, /, **cells):
    """A row of a table with its standing filled in."""
    return kind(**(STAND | cells))


def shop(*rows, **settings) -> Shop:
    """A shop of these rows; levels and eras are filled in."""
    rows = list(rows)
    rows += [
        row(catalogue.LevelRow, level=level, name=str(level), promise="A promise of a test.")
        for level in Level
    ]
    rows += [
        row(catalogue.EraRow, era=era, name=str(era), years="1900", marks="none") for era in Era
    ]
    tables = {kind.table: {} for kind in catalogue.TABLES}
    places = {}
    for number, entry in enumerate(rows, 2):
        cells = tuple(getattr(entry, name) for name in entry.key)
        key = cells[0] if len(cells) == 1 else cells
        tables[entry.table][key] = entry
        places[entry.table, key] = f"{entry.table}.csv, row {number}"
    return Shop(Settings(**(PLAIN | settings)), Catalogue(tables, places))


def survey(*lines, era=Era.DOT_MATRIX) -> Survey:
    """A survey of these lines."""
    return Survey(Machine(title="Test piece", era=era), lines, "survey.csv")


def line(assembly="thing", count=1, condition=Condition.WORN, certainty=Certainty.SEEN, **rest):
    """A survey line."""
    return Line(assembly, count, condition, certainty, **rest)


def thing(name="thing", **cells):
    """An assembly."""
    return row(
        catalogue.Assembly,
        **(
            {
                "assembly": name,
                "name": name.title() + " of a test",
                "group": "Things",
                "droppable": True,
            }
            | cells
        ),
    )


def operation(name="mend", low=1.0, typical=1.0, high=1.0, **cells):
    """An operation; fixed hours unless a range is given."""
    return row(
        catalogue.Operation,
        operation=name,
        name=name.title() + " it",
        low=low,
        typical=typical,
        high=high,
        **({"kind": "repair"} | cells),
    )


def treatment(does="operation", item="mend", assembly="thing", level_from=Level.CLEAN, **cells):
    """A treatment."""
    return row(
        catalogue.Treatment, assembly=assembly, does=does, item=item, level_from=level_from, **cells
    )


def part(name="piece", low=10.0, typical=10.0, high=10.0, **cells):
    """A part; a fixed price unless a range is given."""
    return row(
        catalogue.Part, part=name, name=name.title(), low=low, typical=typical, high=high, **cells
    )
