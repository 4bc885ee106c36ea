import periodictable
import pytest

from daemon.chemistry.metals import METALS, Metal, metal_named


@pytest.mark.parametrize("metal", METALS, ids=lambda metal: metal.name)
def test_atomic_weight_and_density_are_those_of_periodictable(metal):
    element = getattr(periodictable, metal.symbol)
    assert metal.molar_mass_g == pytest.approx(element.mass, rel=1e-7)
    assert metal.density_g_cm3 == pytest.approx(element.density, rel=1e-4)


def test_the_table_holds_the_metals_and_valences_of_the_trade():
    assert sorted(metal.name for metal in METALS) == sorted(
        [
            "Cu(I)",
            "Cu(II)",
            "Ni(II)",
            "Zn(II)",
            "Sn(II)",
            "Sn(IV)",
            "Ag(I)",
            "Au(I)",
            "Au(III)",
            "Cd(II)",
            "Cr(III)",
            "Cr(VI)",
            "Fe(II)",
            "Co(II)",
            "Pb(II)",
            "Pd(II)",
            "Rh(III)",
            "In(III)",
        ]
    )


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("Cu(II)", "Cu(II)"),
        ("copper(II)", "Cu(II)"),
        ("Cu", "Cu(II)"),
        ("copper", "Cu(II)"),
        (" COPPER (ii) ", "Cu(II)"),
        ("Cu(I)", "Cu(I)"),
        ("nickel", "Ni(II)"),
        ("silver", "Ag(I)"),
        ("chromium(VI)", "Cr(VI)"),
        ("Cr(III)", "Cr(III)"),
        ("tin(iv)", "Sn(IV)"),
    ],
)
def test_a_metal_is_found_as_people_write_it(written, name):
    assert metal_named(written).name == name


@pytest.mark.parametrize("metal", METALS, ids=lambda metal: metal.name)
def test_every_shown_name_can_be_read_back(metal):
    assert metal_named(metal.name) == metal


@pytest.mark.parametrize(
    ("written", "allowed"),
    [
        ("Cr", "Cr(VI), Cr(III)"),
        ("tin", "Sn(II), Sn(IV)"),
        ("gold", "Au(I), Au(III)"),
        ("Cu(III)", "Cu(II), Cu(I)"),
        ("Ag(II)", "Ag(I)"),
    ],
)
def test_an_open_or_wrong_valence_names_those_of_the_metal(written, allowed):
    with pytest.raises(ValueError, match="metal and valence") as refused:
        metal_named(written)
    assert str(refused.value) == f"metal and valence must be one of {allowed}; got {written!r}"


@pytest.mark.parametrize("written", ["", "unobtainium", "Cu(2)", "Cu(II", "Cu II", "Cu(II) Ni(II)"])
def test_an_unknown_metal_lists_the_whole_table(written):
    with pytest.raises(ValueError, match="metal and valence") as refused:
        metal_named(written)
    assert repr(written) in str(refused.value)
    assert all(metal.name in str(refused.value) for metal in METALS)


@pytest.mark.parametrize(
    ("fields", "complaint"),
    [
        (("", 2, 63.546, 8.96), "needs a symbol"),
        (("Cu", 0, 63.546, 8.96), "whole number from 1 to 8, got 0"),
        (("Cu", 9, 63.546, 8.96), "whole number from 1 to 8, got 9"),
        (("Cu", 2.0, 63.546, 8.96), "whole number from 1 to 8, got 2.0"),
        (("Cu", True, 63.546, 8.96), "whole number from 1 to 8, got True"),
        (("Cu", 2, 0.0, 8.96), "molar mass of Cu must be above 0 g/mol and finite, got 0 g/mol"),
        (("Cu", 2, 63.546, -1.0), "density of Cu must be above 0 g/cm³ and finite, got -1 g/cm³"),
        (("Cu", 2, 63.546, float("nan")), "density of Cu"),
        (("Cu", 2, float("inf"), 8.96), "molar mass of Cu"),
    ],
)
def test_a_metal_that_cannot_be_is_refused(fields, complaint):
    with pytest.raises(ValueError, match=r"Cu|symbol") as refused:
        Metal(*fields)
    assert complaint in str(refused.value)
