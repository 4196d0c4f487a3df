"""[[dispersions]] and [[correlations]] of the scenario file as typed tables."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from sequencer.documents import Line, Strict
from sequencer.scenario.distributions import (
    Discrete,
    Distribution,
    Normal,
    TruncatedNormal,
    Uniform,
)

__all__ = ["CorrelationTable", "DispersionTable", "TakenAs"]

Word = Annotated[Line, Field(min_length=1, max_length=200)]
TakenAs = Literal["value", "factor", "added"]

_KEYS = {
    "normal": ("mean", "sd"),
    "truncated_normal": ("mean", "sd", "low", "high"),
    "uniform": ("low", "high"),
    "discrete": ("values",),
}
_NUMBERS = ("mean", "sd", "low", "high", "values", "weights")


class DispersionTable(Strict):
    """[[dispersions]]: a quantity, or all that a pattern matches, and how it differs by flight."""

    quantity: Word
    distribution: Literal["normal", "truncated_normal", "uniform", "discrete"]
    taken_as: TakenAs = Field(default="value", alias="as")
    mean: float | None = None
    sd: Annotated[float, Field(gt=0)] | None = None
    low: float | None = None
    high: float | None = None
    values: Annotated[tuple[float, ...], Field(min_length=1, max_length=1000)] | None = None
    weights: tuple[Annotated[float, Field(gt=0)], ...] | None = None

    @model_validator(mode="after")
    def _keys_of_the_distribution(self) -> DispersionTable:
        needed = _KEYS[self.distribution]
        for key in needed:
            if getattr(self, key) is None:
                raise ValueError(f"is {self.distribution}, which needs '{key}'")
        for key in _NUMBERS:
            useful = key in needed or (key == "weights" and self.distribution == "discrete")
            if getattr(self, key) is not None and not useful:
                raise ValueError(f"is {self.distribution}, which has no use for '{key}'")
        if self.low is not None and self.high is not None and not self.low < self.high:
            raise ValueError(f"has a low that is not below its high ({self.low:g}, {self.high:g})")
        if self.values is not None and self.weights is not None:
            wanted, got = len(self.values), len(self.weights)
            if wanted != got:
                raise ValueError(f"has {wanted} values, but {got} weights")
        self.made()
        return self

    def made(self) -> Distribution:
        """The distribution that the table describes. Raises ValueError for an impossible one."""
        if self.values is not None:
            weights = self.weights or (1.0,) * len(self.values)
            pairs = sorted(zip(self.values, weights, strict=True))
            return Discrete(tuple(v for v, _ in pairs), tuple(w for _, w in pairs))
        mean, sd, low, high = (0.0 if n is None else n for n in self._numbers())
        if self.distribution == "normal":
            return Normal(mean, sd)
        if self.distribution == "uniform":
            return Uniform(low, high)
        return TruncatedNormal(mean, sd, low, high)

    def _numbers(self) -> tuple[float | None, ...]:
        return self.mean, self.sd, self.low, self.high


class CorrelationTable(Strict):
    """[[correlations]]: dispersions that go together, every two of them with `coefficient`."""

    between: Annotated[list[Word], Field(min_length=1, max_length=100)]
    coefficient: Annotated[float, Field(ge=-1, le=1)]
