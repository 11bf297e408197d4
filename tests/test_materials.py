"""Coatings and packs against the coverage figures the trade prints."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimator import materials, units


def test_liquid_coverage_at_a_dry_mil_and_a_half():
    """52 % solids at 35 % transfer cover 194.5 ft² a gallon, 4.777 m² a litre."""
    # R. Joseph, paintcenter.org/rj/may04jj.php; metric figure derived.
    found = materials.coverage_sqft_per_gallon(1.5, volume_solids=0.52, transfer=0.35)
    assert found == pytest.approx(194.5, abs=0.2)
    metric = materials.coverage_m2_per_litre(38.1, volume_solids=0.52, transfer=0.35)
    assert metric == pytest.approx(4.777, abs=5e-4)


def test_a_gallon_of_solids_covers_1604_square_feet_at_a_mil():
    """The constant printed in the trade comes out of both formulas."""
    # R. Joseph, Q&A H1002, ronjoseph.com: 231/1728 × 12,000 = 1604.17.
    assert materials.coverage_sqft_per_gallon(1) == pytest.approx(1604.17, abs=0.005)
    assert materials.coating_us(1604.17, 1, volume_solids=1) == pytest.approx(1, abs=1e-5)


def test_wet_film_coverage():
    """Ten mils wet: 160.417 ft² a gallon."""
    # geionline.com/wet-film-formulae.
    assert materials.coverage_sqft_per_gallon(10) == pytest.approx(160.417, abs=5e-4)


@pytest.mark.parametrize(
    ("dry_um", "solids", "wet_um"),
    [(6 * 25.4, 0.30, 508), (125, 0.35, 357), (100, 0.62, 161)],
)
def test_wet_film_for_a_dry_one(dry_um, solids, wet_um):
    """What must be laid down wet to dry to the film asked for."""
    # qualitypros.com.au, WFT to DFT calculator; ultrimaxstore.com, film thickness formulae.
    assert materials.wet_film(dry_um, solids) == pytest.approx(wet_um, abs=0.5)


def test_thinner_makes_the_wet_film_thicker():
    """A tenth of thinner needs a tenth more wet film for the same dry one."""
    # WFT = DFT(1 + R)/VS; from memory.
    assert materials.wet_film(100, 0.5, thinner=0.1) == pytest.approx(220)


def test_powder_coverage_at_two_mils():
    """Specific gravity 1.6: 60.1 ft² a pound, half of it at half the transfer."""
    # powdercoatingonline.com, powder coating coverage chart; constant at coatechpaints.com.
    full = materials.coverage_sqft_per_pound(2, density=1.6)
    assert full == pytest.approx(60.1, abs=0.05)
    half = materials.coverage_sqft_per_pound(2, density=1.6, transfer=0.5)
    assert half == pytest.approx(30.05, abs=0.05)
    assert materials.coverage_m2_per_kg(50.8, density=1.6) == pytest.approx(12.303, abs=5e-4)
    # Printed as 192.3 = 12,000/62.4, with water rounded to 62.4 lb/ft³.
    assert materials.coverage_sqft_per_pound(1, density=1) == pytest.approx(192.3, rel=1e-3)


SHARES = st.floats(0.05, 1)


@given(st.floats(0, 50), st.floats(1, 500), SHARES, SHARES)
def test_paint_used_covers_the_area(area_m2, film_um, solids, transfer):
    """What is used, times the coverage, is the area; the same in US units."""
    share = {"volume_solids": solids, "transfer": transfer}
    litres = materials.coating_litres(area_m2, film_um, **share)
    assert litres * materials.coverage_m2_per_litre(film_um, **share) == pytest.approx(area_m2)
    gallons = materials.coating_us(
        area_m2 / units.M2_PER_SQFT, film_um / units.UM_PER_MIL, **share)
    assert gallons * units.LITRES_PER_US_GALLON == pytest.approx(litres)


@given(st.floats(0, 50), st.floats(1, 500), st.floats(1, 2), SHARES)
def test_powder_used_covers_the_area(area_m2, film_um, density, transfer):
    """What is used, times the coverage, is the area; the same in US units."""
    powder = {"density": density, "transfer": transfer}
    kg = materials.powder_kg(area_m2, film_um, **powder)
    assert kg * materials.coverage_m2_per_kg(film_um, **powder) == pytest.approx(area_m2)
    pounds = materials.powder_pounds(
        area_m2 / units.M2_PER_SQFT, film_um / units.UM_PER_MIL, **powder)
    assert pounds * units.KG_PER_POUND == pytest.approx(kg)


@pytest.mark.parametrize(
    ("need", "pack", "count"),
    [(0, 1, 0), (1e-9, 1, 0), (0.001, 1, 1), (3, 1, 3), (3.0000001, 1, 3), (3.001, 1, 4),
     (0.1 + 0.2, 0.1, 3), (0.75, 0.946, 1), (50, 24, 3)],
)
def test_packs_are_bought_whole(need, pack, count):
    """A pack begun is bought; under a millionth of one over is not."""
    assert materials.packs(need, pack) == count


@given(st.floats(0, 1000), st.floats(0.01, 50))
def test_packs_cover_the_need_and_no_pack_is_idle(need, pack):
    """Enough is bought, and one pack fewer would not do."""
    count = materials.packs(need, pack)
    assert count * pack >= need - 2e-6 * pack
    assert count == 0 or (count - 1) * pack < need


@pytest.mark.parametrize(
    ("call", "said"),
    [(lambda: materials.coating_litres(1, 50, volume_solids=45), r"Write 0\.45 for 45 %"),
     (lambda: materials.coating_litres(1, 50, volume_solids=0.45, transfer=0), "transfer is 0"),
     (lambda: materials.coating_litres(-1, 50, volume_solids=0.45), "area_m2 is -1"),
     (lambda: materials.powder_kg(-1, 70, density=1), "area_m2 is -1"),
     (lambda: materials.powder_kg(1, 70, density=0), "density is 0"),
     (lambda: materials.powder_kg(1, -70, density=1.5), "film_um is -70"),
     (lambda: materials.coverage_m2_per_litre(0), "film_um is 0"),
     (lambda: materials.wet_film(100, 0.5, thinner=-0.1), "thinner is -0.1"),
     (lambda: materials.coating_litres(1, -50, volume_solids=0.45), "film_um is -50"),
     (lambda: materials.wet_film(-1, 0.5), "dry_um is -1"),
     (lambda: materials.packs(-1, 1), "need is -1"),
     (lambda: materials.packs(1, 0), "pack is 0")],
)
def test_figures_out_of_range_are_refused(call, said):
    """Percents for shares, negative areas, nothing to divide by."""
    with pytest.raises(ValueError, match=said):
        call()


def test_without_a_word_on_transfer_nothing_is_lost():
    """1 m² at 100 µm is 0.1 L of film: 0.2 L at half solids, 0.15 kg of powder of 1.5."""
    # One micrometre over one square metre is one millilitre.
    assert materials.coating_litres(1, 100, volume_solids=0.5) == pytest.approx(0.2)
    assert materials.powder_kg(1, 100, density=1.5) == pytest.approx(0.15)
    assert materials.coating_litres(0, 0, volume_solids=0.5) == materials.powder_kg(
        0, 0, density=1) == 0
