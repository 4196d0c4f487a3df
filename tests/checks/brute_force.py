"""The meaning of every pattern, spelt out tick by tick: slow, and with nothing shared with ours.

Written from the words of docs/requirements.md alone. One tick is one second, windows are whole
seconds, events are lists of ticks, conditions lists of worths (None where unknown).
"""

from __future__ import annotations

from math import inf


def segments(scope, opens, closes, last):
    """[(start, end, has a beginning of its own, has an end of its own)], or None: undecided."""
    if scope == "globally":
        return [(0, last, False, False)]
    if scope == "before":
        return [(0, closes[0], False, True)] if closes else []
    if scope == "after":
        return [(opens[0], last, True, False)] if opens else []
    found, inside = [], None
    for tick in range(last + 1):
        # within a tick the opening event stands before the closing one in the record
        if inside is None and tick in opens:
            inside = tick
        if inside is not None and tick in closes:
            found.append((inside, tick, True, True))
            inside = None
    if inside is not None:
        if scope == "until":
            found.append((inside, last, True, False))
        elif not found:
            return None
    return found


def edges(segment, window):
    """Bounds of the part of a segment that a window leaves, None where there is none."""
    start, _, opened, closed = segment
    low, high = window
    first = start + low if opened or low > 0 else None
    ends = ([segment[1]] if closed else []) + ([start + high] if high < inf else [])
    return first, min(ends, default=None)


def depth(tick, first, end):
    """How far inside [first, end] a tick lies; negative outside."""
    return min(
        inf if first is None else tick - first,
        inf if end is None else end - tick,
    )


def presence(segment, window, events, last, over, absent):
    """(low, high), or None where nothing is asked."""
    first, end = edges(segment, window)
    closed = segment[3]
    if absent and first is not None and end is not None and first > end and end <= last:
        return None
    deepest = max((depth(tick, first, end) for tick in events), default=-inf)
    beyond = not closed and (
        (end is not None and end > last) or (end is None and first is not None and first > last)
    )
    if absent:
        return (-inf, -deepest) if beyond and deepest <= 0 else (-deepest, -deepest)
    endless = not closed and window[1] == inf and not over
    if deepest < 0 and (beyond or endless):
        return (deepest, inf)
    return (deepest, deepest)


def holds(segment, window, worth, over, kind):
    """kind: always, never, once. Samples run to the end of the record."""
    start, stop, _, closed = segment
    last = len(worth) - 1
    low, high = window
    wanted = start + high if high < inf else (stop if closed else last)
    end = min(wanted, stop) if closed else wanted
    ticks = range(start + low, int(end) + 1)
    sign = -1 if kind == "never" else 1
    lows, highs = [], []
    for tick in ticks:
        known = tick <= last and worth[tick] is not None
        lows.append(sign * worth[tick] if known else -inf)
        highs.append(sign * worth[tick] if known else inf)
    if not closed and high == inf:
        if start + low > last:
            lows, highs = [-inf], [inf]
        elif kind == "once" and not over:
            lows.append(-inf)
            highs.append(inf)
    if kind == "once":
        return max(lows, default=-inf), max(highs, default=-inf)
    return (min(lows), min(highs)) if lows else None


def one_of(segment, window, truths, gap):
    """truths: one list per condition of True, False or None, a value per tick."""
    start, stop, _, closed = segment
    last = len(truths[0]) - 1
    low, high = window
    wanted = start + high if high < inf else (stop if closed else last)
    end = min(wanted, stop) if closed else wanted
    ticks = [tick for tick in range(start + low, int(end) + 1) if tick <= last]
    beyond = not closed and (end > last or (high == inf and start + low > last))
    if not ticks:
        return (-inf, inf) if beyond else None
    longest = {"surely": 0, "perhaps": 0}
    for kind in ("surely", "perhaps"):
        for first in ticks:
            length = 0
            while first + length in ticks:
                column = [one[first + length] for one in truths]
                unknown = column.count(None)
                possible = {column.count(True) + extra for extra in range(unknown + 1)}
                bad = 1 not in possible if kind == "surely" else possible != {1}
                if not bad:
                    break
                length += 1
            longest[kind] = max(longest[kind], length)
    surely, perhaps = gap - longest["surely"], gap - longest["perhaps"]
    if beyond and surely >= 0:
        return (-inf, inf)
    return (perhaps, surely)


def response(segment, window, asked, given, last, over):
    low, high = window
    start, stop, _, closed = segment
    results = []
    for trigger in asked:
        if not start <= trigger <= stop:
            continue
        best = -inf
        for tick in given:
            if tick < trigger:
                continue
            parts = [inf]
            if low > 0:
                parts.append(tick - trigger - low)
            if high < inf:
                parts.append(trigger + high - tick)
            if closed:
                parts.append(stop - tick)
            best = max(best, min(parts))
        still = not closed and (trigger + high > last if high < inf else not over)
        results.append((best, inf) if best < 0 and still else (best, best))
    return combined(results)


def precedence(segment, window, asked, given):
    low, high = window
    start, stop, opened, _ = segment
    results = []
    for trigger in asked:
        if not start <= trigger <= stop:
            continue
        best = -inf
        for tick in given:
            parts = [trigger - tick - low]
            if high < inf:
                parts.append(high - (trigger - tick))
            if opened:
                parts.append(tick - start)
            best = max(best, min(parts))
        results.append((best, best))
    return combined(results)


def combined(results):
    """The worst of several intervals, or None."""
    if not results:
        return None
    return min(low for low, _ in results), min(high for _, high in results)


def status(found):
    """(status, margin) of the intervals of all segments; None: a scope still open."""
    if found is None:
        return "not decided", None
    asked = [one for one in found if one is not None]
    if not asked:
        return "not exercised", None
    low, high = combined(asked)
    if high < 0:
        return "broken", high
    return ("met", low) if low >= 0 else ("not decided", None)
