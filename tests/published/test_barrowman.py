"""Centre of pressure against the Barrowmans' report and worked examples."""

from __future__ import annotations

import math

import pytest

from sequencer.vehicle.barrowman import Fins, Nose, Transition, total

MM = 1e-3
DIAMETER = 75 * MM


@pytest.mark.parametrize(
    ("fineness", "printed"),
    [
        (1, 0.430),
        (2, 0.914),
        (3, 1.387),
        (4, 1.857),
        (5, 2.326),
        (6, 2.794),
        (7, 3.261),
        (8, 3.729),
        (9, 4.196),
        (10, 4.663),
    ],
)
def test_ogive_table(fineness, printed):
    """Tangent ogive, centre of pressure in diameters against fineness L/d.

    Source: J. S. and J. A. Barrowman, "The Theoretical Prediction of the Center of Pressure", R&D
    report, 18 August 1966, numeric table [T, in a transcription]. At L/d = 3 and 4 the
    transcription prints 1.307 and 1.657, misread eights: an independent quadrature gives 1.38736
    and 1.85717 [C], which is what stands here.
    """
    nose = Nose("ogive", float(fineness), 1.0)
    assert nose.component().station == pytest.approx(printed, abs=0.0006)
    assert nose.component().slope == 2.0


@pytest.mark.parametrize(
    ("fineness", "exact"),
    [(1, 0.43003), (2, 0.91448), (3, 1.38736), (4, 1.85717), (5, 2.32573), (10, 4.66286)],
)
def test_ogive_against_quadrature(fineness, exact):
    """X = L - V/S with V by numeric quadrature of the arc [C], to all five digits."""
    assert Nose("ogive", float(fineness), 1.0).component().station == pytest.approx(
        exact, abs=0.5e-5
    )


def test_long_ogives_tend_to_0_466():
    """X = 0.466 L of the report [T] is the limit for long noses: 7/15 of the length [C]."""
    length = 100.0
    assert Nose("ogive", length, 1.0).component().station / length == pytest.approx(
        7 / 15, abs=1e-4
    )


def test_a_half_sphere_is_the_shortest_ogive():
    """L = R gives V = 2/3 pi R^3, so X = R/3 [C]."""
    assert Nose("ogive", 0.5, 1.0).component().station == pytest.approx(0.5 / 3)


def test_cone():
    """X = 2/3 L [T, same report]."""
    component = Nose("cone", 150 * MM, DIAMETER).component()
    assert component.station == pytest.approx(100 * MM)
    assert component.slope == 2.0


@pytest.fixture
def fins():
    return Fins(
        count=4,
        station=780 * MM,
        root=120 * MM,
        tip=60 * MM,
        span=80 * MM,
        sweep=60 * MM,
        body_diameter=DIAMETER,
    )


def test_four_fins(fins):
    """Eq 48/59, 77 and 76a of the report [T], worked vehicle [C]: 10.0949395715 at 830.0 mm."""
    component = fins.component(DIAMETER)
    assert component.slope == pytest.approx(10.0949395715, rel=1e-11)
    assert component.station == pytest.approx(830.0 * MM, rel=1e-12)


def test_interference(fins):
    """K = 1 + r/(s + r), eq 77 [T]: 1.31914893617 for r = 37.5, s = 80 mm [C]."""
    alone = 16 * (80 / 75) ** 2 / (1 + math.sqrt(1 + (2 * math.hypot(80, 30) / 180) ** 2))
    assert fins.component(DIAMETER).slope / alone == pytest.approx(1.31914893617, rel=1e-11)


def test_three_fins_have_three_quarters(fins):
    """12 instead of 16 in eq 48 [T]."""
    three = Fins(3, fins.station, fins.root, fins.tip, fins.span, fins.sweep, fins.body_diameter)
    assert three.component(DIAMETER).slope == pytest.approx(
        0.75 * fins.component(DIAMETER).slope, rel=1e-14
    )


def test_whole_vehicle_with_a_cone(fins):
    """Worked vehicle [C]: cone of 150 mm, four fins: 709.288359287 mm."""
    whole = total([Nose("cone", 150 * MM, DIAMETER).component(), fins.component(DIAMETER)])
    assert whole.slope == pytest.approx(12.0949395715, rel=1e-11)
    assert whole.station == pytest.approx(709.288359287 * MM, rel=1e-11)


def test_whole_vehicle_with_an_ogive(fins):
    """Worked vehicle [C]: 704.311071088 mm with the ogive at 0.466 L = 69.9 mm.

    Ours uses the exact volume, 68.5858 mm at L/d = 2 (0.91448 d), so the whole lies where the same
    weighted mean puts it, 0.217 mm further forward.
    """
    ours = Nose("ogive", 150 * MM, DIAMETER).component()
    whole = total([ours, fins.component(DIAMETER)])
    shift = 2.0 * (69.9 * MM - ours.station) / 12.0949395715
    assert whole.station + shift == pytest.approx(704.311071088 * MM, rel=1e-11)
    assert shift == pytest.approx(0.217 * MM, abs=0.001 * MM)


def test_whole_vehicle_with_a_shoulder(fins):
    """Worked vehicle [C]: shoulder 50 to 75 mm, 60 mm long, at 400 mm, reference 50 mm: eq 34 [T].

    Shoulder 2.5 at 432 mm; fins 22.7136140359; whole 737.575671622 mm with the nose at 69.9 mm.
    """
    reference = 50 * MM
    shoulder = Transition(400 * MM, 60 * MM, reference, DIAMETER).component(reference)
    assert shoulder.slope == pytest.approx(2.5, rel=1e-14)
    assert shoulder.station == pytest.approx(432 * MM, rel=1e-14)
    set_of_fins = fins.component(reference)
    assert set_of_fins.slope == pytest.approx(22.7136140359, rel=1e-11)
    cone = Nose("cone", 1.5 * 69.9 * MM, reference).component()  # a nose that acts at 69.9 mm
    whole = total([cone, shoulder, set_of_fins])
    assert whole.slope == pytest.approx(27.2136140359, rel=1e-11)
    assert whole.station == pytest.approx(737.575671622 * MM, rel=1e-11)


def test_a_boat_tail_moves_the_centre_forward(fins):
    """A boat tail has negative slope behind the centre [T, same equation with d2 < d1]."""
    nose = Nose("cone", 150 * MM, DIAMETER).component()
    boat_tail = Transition(900 * MM, 40 * MM, DIAMETER, 50 * MM).component(DIAMETER)
    assert boat_tail.slope < 0
    plain = total([nose, fins.component(DIAMETER)])
    assert total([nose, fins.component(DIAMETER), boat_tail]).station < plain.station
