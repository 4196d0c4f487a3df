from __future__ import annotations

from sequencer.report.progress import watching


def test_elsewhere_a_plain_line_now_and_then(nominal, short, page):
    now = iter([0.0, 1.0, 4.0, 6.0, 6.5, 12.0])
    out, text = page()
    with watching(5, out, clock=lambda: next(now)) as step:
        for result in (nominal, nominal, short, nominal, nominal):
            step(result)
    assert text().splitlines() == ["3 of 5 flown, 1 short", "5 of 5 flown, 1 short"]


def test_short_work_says_nothing(nominal, page):
    out, text = page()
    with watching(1, out, clock=lambda: 0.0) as step:
        step(nominal)
    assert text() == ""


def test_on_a_terminal_the_count_leaves_nothing_behind(nominal, short, page):
    out, text = page(80, color_system="standard")
    with watching(2, out) as step:
        step(nominal)
        step(short)
    assert "2 of 2 flown, 1 short" in text()
    # transient: the last thing written erases the line
    assert text().endswith("\x1b[2K") or "\x1b[1A" in text()


def test_a_dumb_terminal_gets_no_running_count(nominal, page, monkeypatch):
    monkeypatch.setenv("TERM", "dumb")
    out, text = page(80)
    with watching(1, out, clock=lambda: 0.0) as step:
        step(nominal)
    assert "\x1b" not in text()
