"""Strategies for what comes from outside: weather, and the link between the computers."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

__all__ = ["links", "weather"]


def _tenths(low: float, high: float) -> st.SearchStrategy[float]:
    """Numbers of one decimal; the simplest is 0 where that lies between, else the least."""
    return st.integers(round(10 * low), round(10 * high)).map(lambda n: n / 10)


@st.composite
def weather(
    draw: st.DrawFn,
    *,
    wind_m_s: float = 10.0,
    gusts: int = 2,
    gust_m_s: float = 8.0,
    until_s: float = 60.0,
    colder_k: float = 30.0,
    warmer_k: float = 20.0,
) -> dict[str, Any]:
    """Strategy for a [weather] table; the simplest is calm standard air.

    wind_m_s              strongest mean wind at 10 m, m/s
    gusts                 at most so many of them (0 to 4)
    gust_m_s, until_s     strongest, and latest beginning
    colder_k, warmer_k    than the standard atmosphere, at most, K
    """
    table: dict[str, Any] = {}
    offset = draw(_tenths(-colder_k, warmer_k))
    if offset:
        table["temperature_offset_k"] = offset
    speed = draw(_tenths(0.0, wind_m_s))
    if speed:
        table["wind"] = {"law": "constant", "speed_m_s": speed, "from_deg": draw(_directions())}
        if draw(st.booleans()):
            table["wind"] |= {"law": "power", "exponent": draw(_tenths(0.1, 0.4))}
            table["turbulence_w20_m_s"] = speed
    listed = draw(st.lists(_gusts(gust_m_s, until_s), max_size=gusts))
    if listed:
        table["gusts"] = listed
    return table


@st.composite
def _gusts(draw: st.DrawFn, most_m_s: float, until_s: float) -> dict[str, Any]:
    return {
        "start_s": draw(_tenths(0.0, until_s)),
        "length_s": draw(_tenths(0.2, 5.0)),
        "speed_m_s": draw(_tenths(0.1, most_m_s)),
        "from_deg": draw(_directions()),
    }


def _directions() -> st.SearchStrategy[float]:
    return st.integers(0, 35).map(lambda n: 10.0 * n)


@st.composite
def links(
    draw: st.DrawFn, *, delay_s: float = 0.1, loses: float = 0.5, repeats: float = 0.5
) -> dict[str, Any]:
    """Strategy for a [link] table; the simplest is a link that takes no time and loses nothing.

    delay_s           longest time from publishing to arriving, s
    loses, repeats    largest fraction of the messages that never arrive, or arrive twice
    """
    most = {"delay_s": delay_s, "loses": loses, "repeats": repeats}
    return {key: round(draw(st.integers(0, 100)) * each / 100, 6) for key, each in most.items()}
