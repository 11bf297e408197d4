"""How much coating a surface takes, and how many packs that means buying.

One micrometre over one square metre is one millilitre; everything else follows from what stays
on the work. US figures are the metric ones converted, so the two cannot disagree.
"""

from __future__ import annotations

from estimator.units import (
    KG_PER_POUND,
    LITRES_PER_US_GALLON,
    M2_PER_SQFT,
    UM_PER_MIL,
    round_up,
    within,
)


def coating_litres(
    area_m2: float, film_um: float, *, volume_solids: float, transfer: float = 1.0
) -> float:
    """Litres of paint, as it leaves the tin, for one coat. [L]

    Parameters
    ----------
    area_m2
        Surface to coat, each face counted; 0 or more. [m²]
    film_um
        Dry film of the coat, 0 or more. [µm]
    volume_solids
        Share of the tin that is left when it has dried (ISO 3233-1), over 0 up to 1. [–]
    transfer
        Share of what is used that lands on the work, over 0 up to 1. [–]

    Raises
    ------
    ValueError
        If a figure is out of range, such as a share written in percent.

    Notes
    -----
    For smooth, sealed surfaces; bare wood and blasted steel drink more.

    R. Joseph, "Calculating coating coverage", Q&A H1002.

    Examples
    --------
    >>> round(coating_litres(0.6, 50, volume_solids=0.4, transfer=0.5), 3)
    0.15
    """
    within("area_m2", area_m2, at_least=0)
    within("film_um", film_um, at_least=0)
    used = _share("volume_solids", volume_solids) * _share("transfer", transfer)
    return area_m2 * film_um / 1000 / used


def coating_us(
    area_sqft: float, film_mil: float, *, volume_solids: float, transfer: float = 1.0
) -> float:
    """US gallons of paint for one coat; as `coating_litres`, in square feet and mils. [US gal]

    Examples
    --------
    >>> round(coating_us(194.62, 1.5, volume_solids=0.52, transfer=0.35), 3)
    1.0
    """
    litres = coating_litres(area_sqft * M2_PER_SQFT, film_mil * UM_PER_MIL,
                            volume_solids=volume_solids, transfer=transfer)
    return litres / LITRES_PER_US_GALLON


def coverage_m2_per_litre(
    film_um: float, *, volume_solids: float = 1.0, transfer: float = 1.0
) -> float:
    """Square metres that a litre coats at a dry film over 0. [m²/L]

    With the defaults it is the coverage at a wet film, lost paint not counted.

    Examples
    --------
    >>> round(coverage_m2_per_litre(38.1, volume_solids=0.52, transfer=0.35), 3)
    4.777
    """
    within("film_um", film_um, above=0)
    _share("volume_solids", volume_solids)
    _share("transfer", transfer)
    return 1000 * volume_solids * transfer / film_um


def coverage_sqft_per_gallon(
    film_mil: float, *, volume_solids: float = 1.0, transfer: float = 1.0
) -> float:
    """Square feet that a US gallon coats at a dry film over 0. [ft²/US gal]

    Examples
    --------
    >>> round(coverage_sqft_per_gallon(10), 3)
    160.417
    """
    metric = coverage_m2_per_litre(film_mil * UM_PER_MIL, volume_solids=volume_solids,
                                   transfer=transfer)
    return metric * LITRES_PER_US_GALLON / M2_PER_SQFT


def powder_kg(area_m2: float, film_um: float, *, density: float, transfer: float = 1.0) -> float:
    """Kilograms of powder for one coat. [kg]

    Parameters
    ----------
    area_m2
        Surface to coat, each face counted; 0 or more. [m²]
    film_um
        Cured film, 0 or more. [µm]
    density
        Of the cured powder, water = 1; over 0, usually 1.2 to 1.8. [–]
    transfer
        Share of the powder sprayed that ends on the work, over 0 up to 1. [–]

    Examples
    --------
    >>> round(powder_kg(2, 70, density=1.6, transfer=0.6), 3)
    0.373
    """
    within("area_m2", area_m2, at_least=0)
    within("film_um", film_um, at_least=0)
    within("density", density, above=0)
    return area_m2 * film_um / 1000 * density / _share("transfer", transfer)


def powder_pounds(
    area_sqft: float, film_mil: float, *, density: float, transfer: float = 1.0
) -> float:
    """Pounds of powder for one coat; as `powder_kg`, in square feet and mils. [lb]

    Examples
    --------
    >>> round(powder_pounds(60.07, 2, density=1.6), 3)
    1.0
    """
    kg = powder_kg(area_sqft * M2_PER_SQFT, film_mil * UM_PER_MIL, density=density,
                   transfer=transfer)
    return kg / KG_PER_POUND


def coverage_m2_per_kg(film_um: float, *, density: float, transfer: float = 1.0) -> float:
    """Square metres that a kilogram of powder coats at a cured film over 0. [m²/kg]

    Examples
    --------
    >>> round(coverage_m2_per_kg(50.8, density=1.6), 3)
    12.303
    """
    within("film_um", film_um, above=0)
    within("density", density, above=0)
    return 1000 * _share("transfer", transfer) / (density * film_um)


def coverage_sqft_per_pound(film_mil: float, *, density: float, transfer: float = 1.0) -> float:
    """Square feet that a pound of powder coats at a cured film over 0. [ft²/lb]

    Examples
    --------
    >>> round(coverage_sqft_per_pound(2, density=1.6), 1)
    60.1
    """
    metric = coverage_m2_per_kg(film_mil * UM_PER_MIL, density=density, transfer=transfer)
    return metric * KG_PER_POUND / M2_PER_SQFT


def wet_film(dry_um: float, volume_solids: float, thinner: float = 0.0) -> float:
    """Wet film to lay down for a dry film, in the unit of `dry_um`.

    Parameters
    ----------
    dry_um
        Dry film asked for, 0 or more. [µm], or mils in and out
    volume_solids
        Of the paint before thinning, over 0 up to 1. [–]
    thinner
        Volume of thinner added to one of paint, 0 or more. [–]

    Examples
    --------
    >>> round(wet_film(100, 0.62)), round(wet_film(100, 0.62, thinner=0.10))
    (161, 177)
    """
    within("dry_um", dry_um, at_least=0)
    within("thinner", thinner, at_least=0, fix="Write 0.1 for 10 %.")
    return dry_um * (1 + thinner) / _share("volume_solids", volume_solids)


def packs(need: float, pack: float) -> int:
    """Whole packs that cover a need; under a millionth of a pack over is not worth another. [–]

    Parameters
    ----------
    need
        What is used, 0 or more.
    pack
        What a pack holds, over 0, in the same unit.

    Examples
    --------
    >>> packs(0.75, 0.25), packs(0.76, 0.25), packs(0, 0.25)
    (3, 4, 0)
    """
    within("need", need, at_least=0)
    within("pack", pack, above=0)
    return round_up(need / pack)


def _share(name: str, share: float) -> float:
    return within(name, share, above=0, up_to=1, fix="Write 0.45 for 45 %.")
