"""How a flight ended, in one word and a few numbers."""

from __future__ import annotations

import math

import numpy as np

from sequencer.scenario import Recording
from sequencer.vehicle import Vehicle
from sequencer.world.memory import Memory

__all__ = ["facts_of", "outcome_of"]

_DEG = 180.0 / math.pi
#: a parachute counts as open for landing on it when it has opened this far
_OPEN = 0.9


def _touchdown_facts(world: Memory) -> dict[str, float]:
    """Speed, sideways speed, tilt and place of the touchdown; empty before it.

    The values are those at the moment of contact, found inside the integration step.
    """
    state = world.state
    if not state["down"]:
        return {}
    return {
        "touchdown_speed_m_s": float(state["down_speed"]),
        "touchdown_sideways_m_s": float(state["down_sideways"]),
        "touchdown_tilt_deg": math.acos(max(-1.0, min(1.0, float(state["down_cosine"])))) * _DEG,
        "touchdown_east_m": float(state["down_east"]),
        "touchdown_north_m": float(state["down_north"]),
    }


def facts_of(source: Vehicle | Recording, world: Memory, rate_hz: int) -> dict[str, float]:
    """Numbers worth a line in a report; names carry their units."""
    if isinstance(source, Recording):
        return {"log_rows": float(source.rows), "log_s": source.last_tick / rate_hz}
    state = world.state
    facts = {"apogee_m": float(state["highest"])}
    if state["down"]:
        facts["flight_s"] = float(state["down_tick"]) / rate_hz
        facts.update(_touchdown_facts(world))
        facts["touchdown_distance_m"] = math.hypot(
            float(state["down_east"]), float(state["down_north"])
        )
    if state["separated"]:
        facts["least_distance_m"] = float(state["least_distance"])
    return facts


def outcome_of(source: Vehicle | Recording, world: Memory) -> str:
    """One word of `sequencer.scenario.outcome.OUTCOMES`."""
    return "replayed" if isinstance(source, Recording) else _ended(source, world)


def _ended(vehicle: Vehicle, world: Memory) -> str:
    """How a flight ended.

    Speeds and angles are compared with what the vehicle file says its legs and its parachute
    landing can take; falling over is decided by energy, see `tips_over`.
    """
    state = world.state
    if not state["down"]:
        return "in_flight" if state["lifted"] else "on_pad"
    ground = vehicle.ground
    speed = float(state["down_speed"])
    if state["hit_obstacle"]:
        return "crashed"
    if float(np.max(world.out["parachute"][world.body0_parachutes], initial=0.0)) >= _OPEN:
        return "recovered" if speed <= ground.parachute_speed_m_s else "crashed"
    tilt = math.acos(max(-1.0, min(1.0, float(state["down_cosine"]))))
    if speed > ground.crash_speed_m_s or tilt > ground.crash_tilt_rad:
        return "crashed"
    if tips_over(world):
        return "tipped_over"
    return "landed" if speed <= ground.leg_speed_m_s else "hard_landing"


def tips_over(world: Memory) -> bool:
    """Whether the body rolls over a foot of its legs after touchdown.

    The foot stays where it lands; angular momentum about it is kept through the impact, and the
    body falls over if the energy of that rotation lifts the centre of mass over the foot:
    (I + m d2) w2 / 2 > m g (d - h), with d the distance from foot to centre of mass and h its
    height at touchdown. (Rigid-body impact about a fixed point; textbook mechanics.)
    """
    state, out, params = world.state, world.out, world.params  # numbers of this flight
    mass = float(out["mass"])
    tail = float(params["part_tail"][0])
    upright = tail - float(out["centre_of_mass"]) + float(params["leg_length"])
    radius = float(params["leg_radius"])
    reach = math.hypot(upright, radius)
    tilt = math.acos(max(-1.0, min(1.0, float(state["down_cosine"]))))
    # angle of the line foot -> centre of mass from the vertical; zero is the point of no return
    lean = math.atan2(radius, upright) - tilt
    if lean <= 0.0:
        return True
    height = reach * math.cos(lean)
    own = float(params["part_transverse"][0])
    inertia = own + mass * reach * reach
    sliding, turning = float(state["down_sideways"]), float(state["down_rate"])
    spin = (mass * sliding * height + own * turning) / inertia
    return 0.5 * inertia * spin * spin > mass * 9.80665 * (reach - height)
