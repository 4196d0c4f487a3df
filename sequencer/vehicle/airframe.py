"""Resolves parts, motors, parachutes, aerodynamics and ground of a vehicle file."""

from __future__ import annotations

from collections.abc import Mapping

from sequencer.documents import Document, Loc
from sequencer.vehicle import barrowman, capacity
from sequencer.vehicle.curves import area, thrust_table
from sequencer.vehicle.lookup import at_most, known, si
from sequencer.vehicle.model import (
    CONFIGURATIONS,
    Aero,
    Ejection,
    Ground,
    Motor,
    Obstacle,
    Parachute,
    Part,
)
from sequencer.vehicle.schema import (
    AeroTable,
    CurveTable,
    GeometryTable,
    MotorTable,
    VehicleFile,
)

__all__ = ["aero", "ground", "motors", "parachutes", "parts"]

_PARACHUTE = "parachute "


def parts(document: Document, file: VehicleFile) -> tuple[Part, ...]:
    """The parts, that with the flight computer first."""
    at_most(document, ("parts",), file.parts, capacity.PARTS, "parts")
    carriers = [name for name, part in file.parts.items() if part.carries_computer]
    if len(carriers) != 1:
        place: Loc = ("parts", carriers[1], "carries_computer") if carriers else ("parts",)
        what = f"{', '.join(carriers)} both do" if carriers else "none does"
        raise document.error(
            place, f"exactly one part carries the computer (carries_computer = true), but {what}"
        )
    for name, table in file.parts.items():
        if table.centre_station_m > table.tail_station_m:
            raise document.error(
                ("parts", name, "centre_station_m"),
                f"centre_station_m {table.centre_station_m:g} of part '{name}' lies behind its "
                f"tail_station_m {table.tail_station_m:g}",
            )
        # I_x + I_y >= I_z for any rigid body
        if table.axial_kg_m2 > 2.0 * table.transverse_kg_m2:
            raise document.error(
                ("parts", name, "axial_kg_m2"),
                f"no body has an axial inertia ({table.axial_kg_m2:g}) above twice its transverse "
                f"one ({table.transverse_kg_m2:g})",
            )
    names = carriers + [name for name in file.parts if name not in carriers]
    front, *rear = (
        Part(name=name, **si(file.parts[name], without=["carries_computer"])) for name in names
    )
    for part in rear:
        if part.tail_station_m <= front.tail_station_m:
            raise document.error(
                ("parts", part.name, "tail_station_m"),
                f"part '{part.name}' leaves to the rear, so its tail_station_m lies behind that of "
                f"'{front.name}' ({front.tail_station_m:g})",
            )
    return (front, *rear)


def _inside(document: Document, loc: Loc, value: float, length: float) -> None:
    """Raises InputError for a station behind the vehicle's rear end."""
    if value > length:
        raise document.error(
            loc, f"station {value:g} m lies behind the vehicle's tail at {length:g} m"
        )


def motors(
    document: Document, file: VehicleFile, bodies: tuple[Part, ...]
) -> tuple[dict[str, Motor], tuple[str, ...]]:
    """Motors by name, and names of the gimbals in the order in which motors name them."""
    at_most(document, ("motors",), file.motors, capacity.MOTORS, "motors")
    for name, curve in file.curves.items():
        _check_curve(document, ("curves", name, "points_percent"), curve)
    length = max(part.tail_station_m for part in bodies)
    gimbals: list[str] = []
    found: dict[str, Motor] = {}
    for name, table in file.motors.items():
        at: Loc = ("motors", name)
        known(document, (*at, "part"), "part", table.part, file.parts)
        known(document, (*at, "curve"), "curve", table.curve, file.curves)
        for key in ("nozzle_station_m", "grain_station_m"):
            _inside(document, (*at, key), getattr(table, key), length)
        if table.grain_station_m > table.nozzle_station_m:
            raise document.error(
                (*at, "grain_station_m"),
                f"the grain of motor '{name}' lies behind its nozzle "
                f"({table.grain_station_m:g} > {table.nozzle_station_m:g} m)",
            )
        if table.gimbal is not None and table.gimbal not in gimbals:
            gimbals.append(table.gimbal)
        curve = file.curves[table.curve]
        found[name] = Motor(
            name=name,
            thrust=thrust_table(curve.points_percent, table.burn_time_s, table.total_impulse_n_s),
            ejection=_ejection(document, at, table, file),
            **si(table, without=["curve", "plugged", "eject_delay_s", "ejects"]),
        )
    for gimbal in gimbals:
        owners = {motor.part for motor in found.values() if motor.gimbal == gimbal}
        if len(owners) > 1:
            last = [motor.name for motor in found.values() if motor.gimbal == gimbal][-1]
            raise document.error(
                ("motors", last, "gimbal"),
                f"gimbal '{gimbal}' cannot carry motors of two parts ({', '.join(sorted(owners))})",
            )
    return found, tuple(gimbals)


def _check_curve(document: Document, loc: Loc, curve: CurveTable) -> None:
    points = curve.points_percent
    if points[0] != (0.0, 0.0):
        raise document.error((*loc, 0), "a thrust curve starts at [0, 0]")
    if points[-1] != (100.0, 0.0):
        raise document.error((*loc, len(points) - 1), "a thrust curve ends at [100, 0]")
    for index in range(1, len(points)):
        before, here = points[index - 1][0], points[index][0]
        if here <= before:
            raise document.error(
                (*loc, index),
                f"points of a thrust curve ascend in time, but {here:g} % follows {before:g} %",
            )
    if area(points) <= 0.0:
        raise document.error(loc, "a thrust curve has some thrust")


def _ejection(document: Document, at: Loc, table: MotorTable, file: VehicleFile) -> Ejection | None:
    name = at[-1]
    if table.plugged:
        for key in ("ejects", "eject_delay_s"):
            if getattr(table, key) is not None:
                raise document.error((*at, key), f"motor '{name}' is plugged and has no '{key}'")
        return None
    if table.ejects is None or table.eject_delay_s is None:
        missing = "ejects" if table.ejects is None else "eject_delay_s"
        raise document.error(
            at,
            f"motor '{name}' needs plugged = true, or eject_delay_s and ejects ('{missing}' is "
            "missing)",
        )
    place = (*at, "ejects")
    if table.ejects == "separation":
        if len(file.parts) < capacity.PARTS:
            raise document.error(place, "a vehicle of one part has no separation")
        return Ejection(table.eject_delay_s, None)
    choices = ["separation", *(_PARACHUTE + each for each in file.parachutes)]
    chosen = known(document, place, "thing to eject", table.ejects, choices)
    return Ejection(table.eject_delay_s, chosen.removeprefix(_PARACHUTE))


def parachutes(
    document: Document, file: VehicleFile, bodies: tuple[Part, ...]
) -> dict[str, Parachute]:
    """Parachutes by name."""
    at_most(document, ("parachutes",), file.parachutes, capacity.PARACHUTES, "parachutes")
    length = max(part.tail_station_m for part in bodies)
    for name, table in file.parachutes.items():
        at: Loc = ("parachutes", name)
        known(document, (*at, "part"), "part", table.part, file.parts)
        _inside(document, (*at, "attach_station_m"), table.attach_station_m, length)
        if table.self_deploy_delay_s is not None and len(bodies) < capacity.PARTS:
            raise document.error(
                (*at, "self_deploy_delay_s"),
                "it counts from separation, and a vehicle of one part has none",
            )
    return {name: Parachute(name=name, **si(table)) for name, table in file.parachutes.items()}


def aero(
    document: Document, file: VehicleFile, bodies: tuple[Part, ...], roles: Mapping[str, str]
) -> tuple[Aero, Aero, Aero, Aero]:
    """One per CONFIGURATIONS; what is left out is like the stage, and the stage like the stack.

    A vehicle of one part flies as its own stage from the start.

    `roles` are those of the servos (role -> servo): whether fins or legs can ever be out.
    """
    length = max(part.tail_station_m for part in bodies)
    possible = {"stack": True, "stage": len(bodies) == capacity.PARTS}
    possible |= {"fins_out": "fins" in roles, "legs_out": "legs" in roles}
    why = {
        "stage": "the vehicle has no second part to leave",
        "fins_out": "no servo has the role 'fins'",
        "legs_out": "no servo has the role 'legs'",
    }
    found: list[Aero] = []
    for word in CONFIGURATIONS:
        table: AeroTable | None = getattr(file.aero, word)
        if table is None:
            # legs change little, so they may be left out; the others are what makes a flight
            if possible[word] and word != "legs_out":
                raise document.error(("aero",), f"'{word}' is missing in [aero]")
            found.append(found[min(1, len(found) - 1)])
            continue
        at: Loc = ("aero", word)
        if not possible[word]:
            raise document.error(at, f"[aero.{word}] can never apply: {why[word]}")
        values = si(table) | _from_geometry(document, at, table, file.geometry)
        for key in ("centre_nose_m", "centre_tail_m", "centre_side_m"):
            _inside(document, (*at, key), values[key], length)
        found.append(Aero(**values))
    stack, stage, fins_out, legs_out = found
    return stack, stage, fins_out, legs_out


def _from_geometry(
    document: Document, at: Loc, table: AeroTable, geometry: GeometryTable | None
) -> dict[str, float]:
    """Slope and centre nose first, from the stack's shape where the table leaves them out."""
    missing = [k for k in ("slope_nose_m2", "centre_nose_m") if getattr(table, k) is None]
    if not missing:
        if at[-1] == "stack" and geometry is not None:
            raise document.error(
                ("geometry",), "[aero.stack] gives slope_nose_m2 and centre_nose_m already"
            )
        return {}
    if geometry is None or at[-1] != "stack":
        raise document.error(at, f"'{missing[0]}' is missing in [aero.{at[-1]}]")
    if len(missing) == 1:
        given = "slope_nose_m2" if missing[0] == "centre_nose_m" else "centre_nose_m"
        raise document.error(
            (*at, given),
            f"give both slope_nose_m2 and centre_nose_m, or neither (no '{missing[0]}')",
        )
    nose = barrowman.Nose(geometry.nose.shape, geometry.nose.length_m, geometry.nose.diameter_m)
    if nose.shape == "ogive" and nose.length < nose.diameter / 2.0:
        raise document.error(
            ("geometry", "nose", "length_m"),
            "a tangent ogive is at least as long as half its diameter",
        )
    pieces = [nose.component()]
    for each in geometry.transitions:
        shape = barrowman.Transition(
            each.station_m, each.length_m, each.front_diameter_m, each.rear_diameter_m
        )
        pieces.append(shape.component(nose.diameter))
    if geometry.fins is not None:
        fins = barrowman.Fins(**{k.removesuffix("_m"): v for k, v in si(geometry.fins).items()})
        pieces.append(fins.component(nose.diameter))
    whole = barrowman.total(pieces)
    if whole.slope <= 0.0:
        raise document.error(("geometry",), "this shape has no positive normal-force slope")
    return {
        "slope_nose_m2": whole.slope * nose.reference_area,
        "centre_nose_m": max(0.0, whole.station),
    }


def ground(document: Document, file: VehicleFile) -> Ground:
    """The pad."""
    table = file.ground
    if not table.hold_down and table.rail_length_m == 0.0:
        raise document.error(
            ("ground", "hold_down"), "a vehicle without a hold-down needs a rail (rail_length_m)"
        )
    if table.leg_length_m > 0.0 and table.leg_radius_m == 0.0:
        raise document.error(("ground", "leg_length_m"), "legs need a leg_radius_m too")
    values = si(table)
    values["obstacles"] = tuple(Obstacle(**si(each)) for each in table.obstacles)
    if table.leg_speed_m_s > table.crash_speed_m_s:
        raise document.error(("ground", "leg_speed_m_s"), "leg_speed_m_s is above crash_speed_m_s")
    return Ground(**values)
