import pytest

from daemon.chemistry.bath_limits import HIGH_THROW, STANDARD, Container, judged
from daemon.chemistry.make_up import Composition, copper_g_l_of

OZ_GAL_G_L = 7.489152  # 28.349523125 g in 3.785411784 L


@pytest.mark.parametrize(
    ("formulation", "component", "least", "greatest"),
    [
        # Metal Finishing Guidebook 2011-12, Tables VIII and IX, in oz/gal and g/L; 0.5 %
        (STANDARD, "copper sulfate", 26 * OZ_GAL_G_L, 33 * OZ_GAL_G_L),
        (STANDARD, "sulfuric acid", 4 * OZ_GAL_G_L, 10 * OZ_GAL_G_L),
        (STANDARD, "chloride", 50, 120),
        (HIGH_THROW, "copper sulfate", 8 * OZ_GAL_G_L, 10 * OZ_GAL_G_L),
        (HIGH_THROW, "sulfuric acid", 25 * OZ_GAL_G_L, 30 * OZ_GAL_G_L),
        (HIGH_THROW, "chloride", 50, 100),
    ],
)
def test_windows_as_published(formulation, component, least, greatest):
    (window,) = [each for each in formulation.windows if each.component == component]
    assert window.least == pytest.approx(least, rel=0.005)
    assert window.greatest == pytest.approx(greatest, rel=0.005)


@pytest.mark.parametrize(
    ("salt_g_l", "acid_g_l", "chloride_mg_l", "inside", "below"),
    [
        (200, 60, 60, (True, True, True), (False, False, False)),
        (195, 30, 50, (True, True, True), (False, False, False)),
        (248, 75, 120, (True, True, True), (False, False, False)),
        (99, 37, None, (False, True, False), (True, False, True)),
        (260, 80, 130, (False, False, False), (False, False, False)),
    ],
)
def test_a_bath_is_held_against_its_window(salt_g_l, acid_g_l, chloride_mg_l, inside, below):
    verdicts = judged(Composition(copper_g_l_of(salt_g_l), acid_g_l, chloride_mg_l), STANDARD)
    assert tuple(verdict.inside for verdict in verdicts) == inside
    assert tuple(verdict.below for verdict in verdicts) == below


def test_a_20_quart_container_takes_16_quarts_of_bath():
    # Common practice, no source.
    assert Container(20.0).room_l == pytest.approx(16.0)


def test_room_is_what_anodes_parts_and_free_board_leave():
    assert Container(20.0, 0.5, 1.5, 1.0).room_l == pytest.approx(17.0)
    assert Container(20.0, parts_l=1.5).room_l == pytest.approx(18.5)
    assert Container(20.0, anodes_l=0.0).room_l == 20.0


@pytest.mark.parametrize("arguments", [(0,), (-1,), (10, -1), (10, 0, -1), (10, 0, 0, -1)])
def test_a_container_that_cannot_be_is_refused(arguments):
    with pytest.raises(ValueError, match="must be"):
        Container(*arguments)
