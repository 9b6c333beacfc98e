"""Price and mass cases as printed by their sources, to the last digit printed."""

from __future__ import annotations

import pytest

from drydown.errors import InputError, RangeError
from drydown.trade.prices import (
    adjusted_mass,
    farm_gate_share,
    ico_equivalent,
    ico_mark,
    low_grade_price,
    parchment_price,
    price_at_yield_factor,
    price_chain,
    yield_factor,
)
from drydown.trade.units import POUND_KG, trade_unit, trade_units


def test_colombian_sheet_of_21_august_2015() -> None:
    # Colombian daily price sheet, 21 Aug 2015: load of 125 kg 775,250 COP = 6,202 COP/kg; sound
    # bean 7,937, defective 3,400. The shares 0.76 and 0.05 are derived from the sheet itself, so
    # this line holds their use, not their truth.
    assert 775_250 / trade_unit("carga").kg == 6_202
    assert parchment_price(7_937, 3_400) == pytest.approx(6_202.1, abs=0.05)


def test_colombian_sheet_of_31_march_2021() -> None:
    # Colombian daily price sheet, 31 Mar 2021: 1,138,000 COP per 125 kg; 9,108 per kg as printed
    # (1,138,000 / 125 = 9,104; the sheet's own kilogram price is taken for the arroba).
    assert trade_unit("arroba_co").kg * 9_108 == 113_850
    for points, price in ((60, 51_000), (50, 42_500), (40, 34_000), (30, 25_500)):
        assert low_grade_price(points, 850) == price


def test_standard_lot() -> None:
    # Trade page: 92.2 kg parchment = 70 kg export (75.92 %) + 18.2 hull and losses (19.74 %) + 4 low
    # grade (4.34 %).
    assert yield_factor(92.2, 70.0) == pytest.approx(92.2)
    assert round(100 * 70 / 92.2, 2) == 75.92
    assert round(100 * 18.2 / 92.2, 2) == 19.74
    assert round(100 * 4 / 92.2, 2) == 4.34
    assert pytest.approx(92.2) == 70 + 18.2 + 4


def test_ico_factors() -> None:
    # ITC Coffee Guide, ICO factors: 60 kg green = 120 kg dried cherry = 75 kg parchment = 50.4 kg
    # roasted = 132.276 lb.
    assert ico_equivalent(60, "green", "dried cherry") == 120
    assert ico_equivalent(60, "green", "parchment") == pytest.approx(75)
    assert round(ico_equivalent(60, "green", "roasted"), 1) == 50.4
    assert ico_equivalent(120, "dried cherry") == 60
    assert round(60 / POUND_KG, 2) == 132.28
    assert pytest.approx(60 / POUND_KG, abs=0.002) == 132.276  # the guide prints 132.276; exact 132.277


def test_moisture_adjusted_weights() -> None:
    # Dry matter is conserved: factors to 12 % as printed in the trade's tables (exact arithmetic).
    for moisture, factor in ((0.10, 1.0227), (0.11, 1.0114), (0.125, 0.9943), (0.13, 0.9886), (0.14, 0.9773),
                             (0.18, 0.9318)):  # fmt: skip
        assert round(adjusted_mass(1.0, moisture, 0.12), 4) == factor
    with pytest.raises(RangeError):
        adjusted_mass(1.0, 12.0, 0.12)


def test_ico_marks() -> None:
    # ITC Coffee Guide: 002 Brazil, exporter 1961, shipment 978 of the coffee year.
    found = ico_mark("002-1961-0978")
    assert (found.country, found.exporter, found.shipment) == (2, 1961, 978)
    assert found.text() == "002-1961-0978"
    assert ico_mark("11/5/12345").shipment == 12_345
    for wrong in ("", "2-3", "0002-1961-0978", "002-1961-123456", "000-1-1", "a-b-c"):
        with pytest.raises(InputError, match="not an ICO mark"):
            ico_mark(wrong)


def test_units_of_the_price_notices() -> None:
    # Veracruz notice, 31 Jan 2022: quintal 46 kg = 101.41 lb. Costa Rica: fanega = 20 cajuelas.
    assert round(trade_unit("quintal_46").kg / POUND_KG, 2) == 101.41
    assert trade_unit("cajuela").kg * 20 == trade_unit("fanega").kg
    assert all(unit.source.text for unit in trade_units().values())
    with pytest.raises(InputError, match="not known"):
        trade_unit("bushel")


def test_price_by_yield_factor_is_the_inverse_of_the_bean_it_holds() -> None:
    # At f = 94 a 125 kg load holds 125 x 70 / 94 kg green; another factor pays the same per kg green.
    base, better = 1_138_000.0, price_at_yield_factor(1_138_000.0, 90.0)
    assert base / (125 * 70 / 94) == pytest.approx(better / (125 * 70 / 90))
    with pytest.raises(RangeError):
        price_at_yield_factor(base, 9.4)


def test_farm_gate_share_by_hand() -> None:
    # Own arithmetic by hand: load 1,138,000 at 3,700 per dollar, f = 94: 307.57 dollars for
    # 93.085 kg = 205.22 lb green: 149.87 cents/lb; of 123.5 cents it is 1.2135.
    assert farm_gate_share(1_138_000, 3_700, 94.0, 123.5) == pytest.approx(1.2135, abs=2e-4)


def test_price_chain_by_hand() -> None:
    # The order of the steps of the Veracruz notice; numbers by hand: 200 + 15 cents, 46 kg bag
    # (101.41265 lb) = 218.0372 dollars, at 20 per dollar 4,360.744; less 360.75 export = 3,999.994;
    # / 57.5 = 69.565 per kg parchment; less 400 wet mill, / 245 kg fruit = 14.694 per kg.
    found = price_chain(200, 15, 20.0, 46.0, 360.75, 57.5, 400.0, 245.0)
    values = [f.value for _name, f in found.steps]
    assert values == pytest.approx([215.0, 4360.744, 3999.994, 69.565, 14.694], abs=0.0006)
    with pytest.raises(RangeError):
        price_chain(200, 15, 20.0, 46.0, 0, 40.0, 0, 245.0)
