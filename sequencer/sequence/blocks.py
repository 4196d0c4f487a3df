"""The blocks of estimates and control loops: what each takes, in which unit, and its coefficients.

A block is declared here once, as the schema of its table in the file. Fields that hold an
expression are marked with what the expression must be; the loader, the exporter and the
documentation read them off with `arguments_of`. What a block does on a tick is in
`sequencer.execute`.

Coefficients are worked out with exact decimals and rounded once. `dt` is the nominal time between
two updates of the block: a tick, or the period of the input that gates it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, ClassVar, Literal

from pydantic import Discriminator, Field, Tag

from sequencer.documents import Strict
from sequencer.units import TRUTH, Dimension, Unit, exact, unit

__all__ = [
    "BLOCKS",
    "LOOP_BLOCKS",
    "Argument",
    "EstimateFile",
    "LoopFile",
    "ThrustVectorPid",
    "arguments_of",
]

_ANGLE = unit("rad").dimension
_ANGULAR_RATE = unit("rad/s").dimension
_SECOND = unit("s").dimension


@dataclass(frozen=True, slots=True)
class Argument:
    """Marks a field that holds an expression: "number", "truth" or "angular rate"."""

    wants: str


NumberText = Annotated[str, Argument("number")]
TruthText = Annotated[str, Argument("truth")]
OptionalTruth = Annotated[str | None, Argument("truth")]
RateText = Annotated[str, Argument("angular rate")]
Positive = Annotated[float, Field(gt=0, le=86_400)]


class EstimateFile(Strict):
    """What every estimate has: its unit."""

    is_cosine: ClassVar[bool] = False

    unit: str

    @property
    def gate(self) -> str | None:
        """The input whose refreshes alone update the block, or None."""
        return None

    @property
    def input_name(self) -> str | None:
        """The input that the block watches as a whole, or None."""
        return None

    def dimension(self, of: Dimension) -> Dimension:
        """Dimension of the output, given that of the first argument."""
        return of

    def coefficients(self, dt: Fraction, rate_hz: int, written: Unit) -> dict[str, float]:
        """Numbers that the executor needs, by name, in order; `written` is the output's unit."""
        del dt, rate_hz, written
        return {}


class _Gateable(EstimateFile):
    """A block that may be updated on the refreshes of one input only."""

    on_fresh: str | None = None

    @property
    def gate(self) -> str | None:
        return self.on_fresh


class Expression(EstimateFile):
    """The value of an expression."""

    block: Literal["expression"] = "expression"
    expression: Annotated[str, Argument("any")]


class LowPass(_Gateable):
    """First-order low-pass: y += a (x - y), a = dt / (time constant + dt)."""

    block: Literal["low_pass"]
    of: NumberText
    time_constant_s: Positive

    def coefficients(self, dt: Fraction, rate_hz: int, written: Unit) -> dict[str, float]:
        del rate_hz, written
        return {"a": _gain(dt, self.time_constant_s)}


class FilteredRate(_Gateable):
    """Rate of change behind a first-order low-pass, per second."""

    block: Literal["filtered_rate"]
    of: NumberText
    time_constant_s: Positive

    def dimension(self, of: Dimension) -> Dimension:
        return of / _SECOND

    def coefficients(self, dt: Fraction, rate_hz: int, written: Unit) -> dict[str, float]:
        del rate_hz, written
        return {"a": _gain(dt, self.time_constant_s), "dt": float(dt)}


class Integral(_Gateable):
    """Sum over time: y += x dt while a condition holds; `initial` in the declared unit."""

    block: Literal["integral"]
    of: NumberText
    while_: OptionalTruth = Field(default=None, alias="while")
    reset_when: OptionalTruth = None
    initial: float = 0.0

    def dimension(self, of: Dimension) -> Dimension:
        return of * _SECOND

    def coefficients(self, dt: Fraction, rate_hz: int, written: Unit) -> dict[str, float]:
        del rate_hz
        return {"dt": float(dt), "initial": written.to_si(self.initial)}


class Peak(_Gateable):
    """Greatest value so far."""

    block: Literal["peak"]
    of: NumberText
    reset_when: OptionalTruth = None


class Median3(_Gateable):
    """Median of the last three values."""

    block: Literal["median3"]
    of: NumberText


class _Elapsed(EstimateFile):
    """A time, counted in ticks of the computer's clock."""

    def dimension(self, of: Dimension) -> Dimension:
        del of
        return _SECOND

    def coefficients(self, dt: Fraction, rate_hz: int, written: Unit) -> dict[str, float]:
        del dt, written
        return {"rate_hz": float(rate_hz)}


class Age(_Elapsed):
    """Time since an input last had a finite value, or since boot."""

    block: Literal["age"]
    input: str

    @property
    def input_name(self) -> str | None:
        return self.input


class Timer(_Elapsed):
    """Time since a condition was first true; 0 before that and after a reset."""

    block: Literal["timer"]
    start_when: TruthText
    reset_when: OptionalTruth = None


class Latch(EstimateFile):
    """True from the tick that sets it until the one that resets it; setting wins."""

    block: Literal["latch"]
    set_when: TruthText
    reset_when: OptionalTruth = None

    def dimension(self, of: Dimension) -> Dimension:
        del of
        return TRUTH


class Vote(EstimateFile):
    """True if at least `needed` members are; bad if fewer than `quorum` members are known."""

    block: Literal["vote"]
    members: Annotated[tuple[str, ...], Argument("truth")] = Field(min_length=1, max_length=16)
    needed: int = Field(ge=1)
    quorum: int = Field(ge=1)

    def dimension(self, of: Dimension) -> Dimension:
        del of
        return TRUTH

    def coefficients(self, dt: Fraction, rate_hz: int, written: Unit) -> dict[str, float]:
        del dt, rate_hz, written
        return {"needed": float(self.needed), "quorum": float(self.quorum)}


class Attitude(_Gateable):
    """Cosine of the tilt away from straight up, from body rates, starting upright."""

    is_cosine: ClassVar[bool] = True

    block: Literal["attitude"]
    rate_x: RateText
    rate_y: RateText
    rate_z: RateText
    reset_when: OptionalTruth = None

    def dimension(self, of: Dimension) -> Dimension:
        del of
        return _ANGLE

    def coefficients(self, dt: Fraction, rate_hz: int, written: Unit) -> dict[str, float]:
        del rate_hz, written
        return {"dt": float(dt)}


class LoopOutputs(Strict):
    """The servos that a two-axis loop drives."""

    y: str
    z: str


class ThrustVectorPid(Strict):
    """Two-axis PID on the attitude error, for a gimballed motor; demands in rad."""

    block: Literal["thrust_vector_pid"]
    attitude: str
    rate_y: RateText
    rate_z: RateText
    kp: float
    ki_per_s: float
    kd_s: float
    limit_deg: float = Field(gt=0, le=90)
    outputs: LoopOutputs

    def coefficients(self, dt: Fraction) -> dict[str, float]:
        """Numbers that the executor needs, by name, in order."""
        return {
            "kp": self.kp,
            "ki": self.ki_per_s,
            "kd": self.kd_s,
            "limit": unit("deg").to_si(self.limit_deg),
            "dt": float(dt),
        }


#: A loop's table in the file. One kind so far; a second makes this a union on `block`.
LoopFile = ThrustVectorPid

#: Blocks of estimates and of loops, by the word that names them in the file.
BLOCKS: Mapping[str, type[EstimateFile]] = {
    "expression": Expression,
    "low_pass": LowPass,
    "filtered_rate": FilteredRate,
    "integral": Integral,
    "peak": Peak,
    "median3": Median3,
    "age": Age,
    "timer": Timer,
    "latch": Latch,
    "vote": Vote,
    "attitude": Attitude,
}
LOOP_BLOCKS: Mapping[str, type[ThrustVectorPid]] = {"thrust_vector_pid": ThrustVectorPid}


def block(table: object) -> str:
    """Which block an estimate's table asks for; pydantic names this function in its errors."""
    if isinstance(table, Mapping):
        return str(table.get("block", "expression"))
    return str(getattr(table, "block", "expression"))


AnyEstimate = Annotated[
    Annotated[Expression, Tag("expression")]
    | Annotated[LowPass, Tag("low_pass")]
    | Annotated[FilteredRate, Tag("filtered_rate")]
    | Annotated[Integral, Tag("integral")]
    | Annotated[Peak, Tag("peak")]
    | Annotated[Median3, Tag("median3")]
    | Annotated[Age, Tag("age")]
    | Annotated[Timer, Tag("timer")]
    | Annotated[Latch, Tag("latch")]
    | Annotated[Vote, Tag("vote")]
    | Annotated[Attitude, Tag("attitude")],
    Discriminator(block),
]


def arguments_of(
    table: EstimateFile | ThrustVectorPid,
) -> Iterator[tuple[str, str, str, tuple[str | int, ...]]]:
    """Expressions of a block's table, in the order in which the block declares them.

    Yields (name, what it must be, text, place in the table); the entries of a list are named
    ``member_1`` and so on. Optional ones that are left out are left out.
    """
    for name, field in type(table).model_fields.items():
        wants = next((mark.wants for mark in field.metadata if isinstance(mark, Argument)), None)
        value = getattr(table, name)
        if wants is None or value is None:
            continue
        if isinstance(value, tuple):
            for index, text in enumerate(value):
                yield f"{name.removesuffix('s')}_{index + 1}", wants, text, (name, index)
        else:
            key = field.alias or name
            yield key, wants, value, (key,)


def _gain(dt: Fraction, time_constant_s: float) -> float:
    return float(dt / (exact(time_constant_s) + dt))
