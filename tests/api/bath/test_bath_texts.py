"""What people write of additions and losses, with units, for the bath's account."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from daemon.api.bath import bath_texts
from daemon.api.bath.bath_texts import Written
from daemon.api.errors import InputError
from daemon.bath.description import Additive, Description

BATH = Description("B", additives=(Additive("brightener", 150.0, 5.0), Additive("carrier")))
VIENNA = ZoneInfo("Europe/Vienna")


def test_a_dose_by_its_amount_or_by_the_description():
    assert bath_texts.dose(BATH, "brightener", None) == Written(
        {"brightener": 5.0, "volume": 0.005}
    )
    found = bath_texts.dose(BATH, "carrier", "1 fl oz")
    assert found.amounts == pytest.approx({"carrier": 29.5735, "volume": 0.0295735}, rel=1e-5)


def test_substances_by_mass_and_additives_by_volume():
    """50 g of the pentahydrate hold 12.725 g of copper (63.546 of 249.685)."""
    found = bath_texts.addition(BATH, "copper sulfate", "50 g")
    assert found.amounts == pytest.approx({"copper": 12.7252}, rel=1e-5)
    assert found.facts == {"as": "CuSO4·5H2O", "mass_g": 50.0}
    assert bath_texts.addition(BATH, "CuSO4.5H2O", "50 g") == found
    # 63.546 of 159.608, by molar masses
    dry = bath_texts.addition(BATH, "CuSO4", "50 g")
    assert dry.amounts == pytest.approx({"copper": 19.907}, rel=1e-4)
    assert bath_texts.addition(BATH, "chloride", "300 mg") == Written({"chloride": 0.3})
    assert bath_texts.addition(BATH, "carrier", "0.1 L").amounts["carrier"] == 100.0


def test_acids_by_volume_with_their_strength():
    """340.5 mL of 96 % at 1.8355 g/mL hold 600 g of H2SO4 (Perry's density, from memory), and
    1.40 mL of 37 % at 1.19 g/mL 0.616 g of HCl, 97.24 % of it chloride.
    """
    found = bath_texts.addition(BATH, "sulfuric acid", "340.5 mL", "96 %")
    assert found.amounts["sulfuric acid"] == pytest.approx(600, rel=3e-3)
    assert found.amounts["volume"] == pytest.approx(0.3405)
    assert found.facts == {"as": "sulfuric acid of 96 %", "volume_ml": pytest.approx(340.5)}
    assert bath_texts.addition(BATH, "sulfuric acid", "600 g") == Written({"sulfuric acid": 600.0})
    by_mass = bath_texts.addition(BATH, "sulfuric acid", "625 g", "96 %")
    assert by_mass.amounts["sulfuric acid"] == pytest.approx(600, rel=1e-6)
    acid = bath_texts.addition(BATH, "hydrochloric acid", "1.40 mL", "37 %")
    assert acid.amounts["chloride"] == pytest.approx(0.599, rel=0.01)
    # Battery acid of 1.280 holds 473 g/L (Myhre 1998, from wt % and density).
    battery = bath_texts.addition(BATH, "battery acid", "1 L")
    assert battery.amounts["sulfuric acid"] == pytest.approx(473, rel=5e-3)
    assert battery.facts["as"] == "battery acid"


def test_salt_is_kept_as_chloride():
    """0.989 g of sodium chloride hold 0.600 g of chloride (60.66 %)."""
    found = bath_texts.addition(BATH, "sodium chloride", "0.989 g")
    assert found.amounts == pytest.approx({"chloride": 0.600}, rel=1e-3)


def test_volumes_in_and_out():
    assert bath_texts.water("500 mL", "15 L") == Written({"volume": 0.5}, {"level_l": 15.0})
    assert bath_texts.taken("10 mL") == Written({"volume": -0.01})
    assert bath_texts.anodes("4 dm²", "2 kg").facts == {"area_dm2": 4.0, "mass_g": 2000.0}


def test_moments_on_the_clocks_of_a_zone():
    """Vienna is an hour ahead of UTC in winter, two in summer."""
    assert bath_texts.moment("at", "2026-11-20 18:00", VIENNA) == datetime(
        2026, 11, 20, 17, tzinfo=UTC
    )
    assert bath_texts.moment("at", "2026-07-20 18:00", VIENNA).astimezone(UTC).hour == 16
    assert bath_texts.moment("at", "2026-11-20T18:00Z", VIENNA).hour == 18
    end = bath_texts.day_end("on", "2026-11-20", VIENNA)
    assert end == datetime(2026, 11, 20, 22, 59, 59, 999_000, tzinfo=UTC)
    assert bath_texts.day_end("on", "2026-11-20 08:00", VIENNA).hour == 8


@pytest.mark.parametrize(
    ("read", "complaint"),
    [
        (lambda: bath_texts.dose(BATH, "leveller", "5 mL"), "known: brightener, carrier"),
        (lambda: bath_texts.dose(BATH, "carrier", None), "amount: say how much, such as"),
        (lambda: bath_texts.dose(BATH, "carrier", "5 g"), "amount: expected a volume"),
        (lambda: bath_texts.dose(BATH, "carrier", "5"), "a number without a unit"),
        (lambda: bath_texts.dose(BATH, "carrier", "-5 mL"), "must be above 0 mL, got '-5 mL'"),
        (lambda: bath_texts.addition(BATH, "copper", "5 mL"), "amount: expected a mass"),
        (lambda: bath_texts.addition(BATH, "volume", "5 g"), "for water there is `water`"),
        (lambda: bath_texts.addition(BATH, "copper", "5 g", "96 %"), "strength: is of an acid"),
        (
            lambda: bath_texts.addition(BATH, "hydrochloric acid", "5 mL"),
            "strength: say how strong",
        ),
        (lambda: bath_texts.addition(BATH, "sulfuric acid", "5 mL"), "amount: expected a mass"),
        (lambda: bath_texts.addition(BATH, "sulfuric acid", "5 mL", "1.28"), 'written "SG 1.28"'),
        (lambda: bath_texts.addition(BATH, "battery acid", "5 A"), "amount: expected a mass"),
        (lambda: bath_texts.addition(BATH, "CuSO4·9H2O", "5 g"), "0 to 7 molecules of water"),
        (lambda: bath_texts.water("1 L", "0 L"), "level: must be above 0 L"),
        (lambda: bath_texts.moment("--at", "yesterday"), "--at: expected a day and a time"),
        (lambda: bath_texts.moment("--at", "2026-11-20"), "--at: expected a time too"),
        (lambda: bath_texts.moment("--at", "0001-01-01 00:00"), "a year from 2000 to 2199"),
        (lambda: bath_texts.day_end("--on", "20.11.2026"), "--on: expected a day"),
    ],
)
def test_what_cannot_be_read_is_refused(read, complaint):
    with pytest.raises(InputError) as refused:
        read()
    assert complaint in str(refused.value)
