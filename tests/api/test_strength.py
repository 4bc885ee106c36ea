import pytest

from daemon.api.strength import read_strength
from daemon.chemistry.acid_density import HYDROCHLORIC, SULFURIC


@pytest.mark.parametrize(
    ("text", "wt_percent"),
    [
        # CRC Handbook, 20 °C: 30 wt % are 1.2191 g/cm³, so 365.7 g/L and 3.729 mol/L, and 1.2213 of
        # water's 0.99821; to 0.2 %.
        ("30 %", 30), ("30%", 30), ("30 wt %", 30), ("30 wt%", 30), ("30 % w/w", 30),
        ("SG 1.2213", 30), ("sg1.2213", 30), ("SG 1.2213 at 20 °C", 30), ("365.7 g/L", 30),
        ("0.3657 kg/L", 30), ("3.729 mol/L", 30), ("3.729 M", 30),
        # By hand: 1.2178 + 5 · 0.0007 = 1.2213; 77 °F are 25 °C.
        ("SG 1.2178 at 25 °C", 30), ("SG 1.2178 @ 77 °F", 30),
        # Computed from Myhre 1998: 1.280 is 37.05 wt %.
        ("battery acid", 37.05), ("Battery Acid", 37.05), (" SG 1.280 ", 37.05),
    ],
)  # fmt: skip
def test_a_strength_as_labels_and_hydrometers_say_it(text, wt_percent):
    assert read_strength(SULFURIC, text).wt_percent == pytest.approx(wt_percent, rel=2e-3)


def test_a_density_of_the_label_goes_with_its_percent():
    assert read_strength(SULFURIC, "98 %", 1.80).density_g_cm3 == 1.80
    assert read_strength(HYDROCHLORIC, "45 %", 1.22).wt_percent == pytest.approx(45)


@pytest.mark.parametrize(
    ("text", "density_g_cm3", "complaint"),
    [
        ("120 %", None, "above 0 and at most 100 wt %, got 120 wt %"),
        ("-5 %", None, "above 0 and at most 100 wt %, got -5 wt %"),
        ("SG 0.95", None, "must be above 1, that of water, got 0.95"),
        ("SG 1.28 at 25 g", None, "expected a temperature"),
        ("1.280", None, 'a specific gravity is written "SG 1.280"'),
        ("96", None, 'expected how strong sulfuric acid is, such as "96 %"'),
        ("strong", None, 'expected how strong sulfuric acid is, such as "96 %"'),
        ("18 N", None, "got '18 N'"),
        ("9 mL/L", None, "got '9 mL/L'"),
        ("", None, "expected how strong"),
        ("x %", None, "not a number with a unit"),
        ("18 mol/L", 1.84, 'a density goes with a strength in %, such as "96 %"'),
        ("96 %", -1.0, "density of sulfuric acid must be above 0"),
    ],
)
def test_what_is_no_strength_is_refused(text, density_g_cm3, complaint):
    with pytest.raises(ValueError, match=r"must|expected|density") as refused:
        read_strength(SULFURIC, text, density_g_cm3)
    assert complaint in str(refused.value)


def test_hydrochloric_acid_is_not_for_batteries():
    with pytest.raises(ValueError, match="how strong hydrochloric acid is") as refused:
        read_strength(HYDROCHLORIC, "battery acid")
    assert '"battery acid"' not in str(refused.value)
