"""Sums over a campaign whose flights were made up: every number is known beforehand."""

from __future__ import annotations

import json
import math
import re

import numpy as np
import pytest
from scipy import stats

from sequencer.report.campaign import as_json, print_campaign
from sequencer.report.terminal import console
from sequencer.scenario import load_scenario
from sequencer.studies.columns import FACTS, columns_of, input_of, margin_of, status_of
from sequencer.studies.intervals import proportion, replicated
from sequencer.studies.ranks import Ranked
from sequencer.studies.sampling import Design
from sequencer.studies.shards import Shards
from sequencer.studies.summary import rank_correlations, summarise, widest

RULE = "stands in light wind"
WIND = "weather.wind.speed_m_s"
FLIGHTS = 240


def made_up(scenario, chance):
    """Rows in which more wind means less margin; every tenth flight is no landing."""
    wind = chance.uniform(0.0, 3.0, FLIGHTS)
    margin = 2.5 - wind
    rows = {name: chance.normal(size=FLIGHTS).tolist() for name in columns_of(scenario)}
    rows["flight"] = list(range(1, FLIGHTS + 1))
    rows["outcome"] = ["crashed" if k % 10 == 0 else "landed" for k in range(FLIGHTS)]
    rows["as_expected"] = [k % 10 != 0 for k in range(FLIGHTS)]
    rows[margin_of(RULE)] = margin.tolist()
    rows[status_of(RULE)] = ["broken" if each < 0.0 else "met" for each in margin]
    rows[input_of(WIND)] = wind.tolist()
    return rows


@pytest.fixture
def scenario(short):
    return load_scenario(short)


def kept(scenario, where, rows, *, sampling="plain", replicates=1):
    design = Design(FLIGHTS, 1, len(scenario.dispersions.each), sampling, replicates)
    found = Shards(where, design, scenario.hashes, columns_of(scenario))
    for each in found.ranges():
        part = {name: values[each.start - 1 : each.stop - 1] for name, values in rows.items()}
        found.write(each, part)
    return found


def test_counts_intervals_margins_and_drivers(scenario, tmp_path):
    rows = made_up(scenario, np.random.default_rng(1))
    with kept(scenario, tmp_path / "out", rows) as shards:
        found = summarise(shards, scenario, FLIGHTS, 0.95)
        assert widest(shards, FLIGHTS, 0.95) == max(
            share.interval.width
            for share in (found.as_expected, *found.outcomes, found.requirements[0].broken)
        )
    assert [(share.name, share.count) for share in found.outcomes] == [
        ("landed", FLIGHTS - FLIGHTS // 10),
        ("crashed", FLIGHTS // 10),
    ]
    assert found.outcomes[1].interval == proportion(FLIGHTS // 10, FLIGHTS)
    (rule,) = found.requirements
    margins = np.sort(rows[margin_of(RULE)])
    broken = int(np.count_nonzero(margins < 0.0))
    assert rule.counts == {"broken": broken, "met": FLIGHTS - broken}
    assert rule.broken.interval == proportion(broken, FLIGHTS)
    assert rule.margin.least == margins[0]
    assert rule.margin.median == margins[FLIGHTS // 2 - 1]
    # 240 flights: between the sizes for the 7th (234) and the 8th (260) smallest
    assert rule.margin.limit == margins[6]
    assert rule.drivers[0].quantity == WIND
    assert rule.drivers[0].correlation == pytest.approx(-1.0)
    assert [worst.margin for worst in found.worst] == margins[:5].tolist()
    assert rows[margin_of(RULE)][found.worst[0].flight - 1] == margins[0]
    east = np.array(rows["touchdown_east_m"])
    assert found.touchdown.east_m == pytest.approx(east.mean())
    assert found.touchdown.east_sd_m == pytest.approx(east.std(ddof=1))


def test_designs_get_their_intervals_from_replicates(scenario, tmp_path):
    rows = made_up(scenario, np.random.default_rng(2))
    with kept(scenario, tmp_path / "out", rows, sampling="latin", replicates=8) as shards:
        found = summarise(shards, scenario, FLIGHTS, 0.95)
    status = np.array(rows[status_of(RULE)]) == "broken"
    counts = [int(status[replicate::8].sum()) for replicate in range(8)]
    assert found.requirements[0].broken.interval == replicated(counts, [FLIGHTS // 8] * 8)
    assert found.requirements[0].margin.limit is None
    assert "by 8 replicates" in found.sentences[0]


def test_nothing_missed_is_a_success_run(scenario, tmp_path):
    rows = made_up(scenario, np.random.default_rng(3))
    rows["as_expected"] = [True] * FLIGHTS
    rows |= {fact: [math.nan] * FLIGHTS for fact in FACTS}
    with kept(scenario, tmp_path / "out", rows) as shards:
        found = summarise(shards, scenario, FLIGHTS, 0.95)
    assert found.sentences == ("240 flights without a failure show 98 % at 95 % confidence",)
    assert found.touchdown is None
    assert not found.facts


def test_rank_correlations_are_spearman_s():
    """scipy.stats.spearmanr, infinite margins included; chance alone drives nothing [L]."""
    chance = np.random.default_rng(4)
    inputs = {f"x{k}": chance.normal(size=300) for k in range(6)}
    margin = inputs["x2"] + 0.8 * chance.normal(size=300)
    margin[:20] = np.nan
    margin[20:25] = np.inf
    ranked = {name: Ranked(values) for name, values in inputs.items()}
    (found,) = rank_correlations(ranked, margin)
    theirs = stats.spearmanr(inputs["x2"][20:], margin[20:]).statistic
    assert found.quantity == "x2"
    assert found.correlation == pytest.approx(theirs, rel=1e-12)
    idle = sum(
        bool(rank_correlations(ranked, np.random.default_rng(seed).normal(size=300)))
        for seed in range(200)
    )
    assert idle / 200 <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / 200)


def test_ranks_are_shared_by_equal_numbers():
    """scipy.stats.rankdata among some flights, less its mean, of length 1 [L]."""
    chance = np.random.default_rng(8)
    for values in (chance.integers(0, 4, 50).astype(float), chance.normal(size=50)):
        some = chance.random(50) < 0.7
        wanted = stats.rankdata(values[some])
        wanted -= wanted.mean()
        found = Ranked(values).among(some)
        assert found is not None
        np.testing.assert_allclose(found[some], wanted / np.linalg.norm(wanted), rtol=1e-12)
        assert not found[~some].any()
    assert Ranked(np.ones(5)).among(np.ones(5, dtype=bool)) is None


def test_the_report_says_it_all(scenario, tmp_path, capsys):
    rows = made_up(scenario, np.random.default_rng(5))
    rows[margin_of(RULE)][0], rows[status_of(RULE)][0] = -math.inf, "broken"
    with kept(scenario, tmp_path / "out", rows) as shards:
        found = summarise(shards, scenario, FLIGHTS, 0.95)
    print_campaign(found, console())
    text = capsys.readouterr().out
    assert "216 of 240 flights came out as expected: between" in text
    said = re.search(r"between (.*) and (.*) of all do", text)
    told = re.search(r"as expected +216 +90 % \((.*) \.\. (.*)\)", text)
    assert said is not None
    assert told is not None
    assert [float(end.strip(" %")) for end in said.groups()] == [
        float(end.strip(" %")) for end in told.groups()
    ]
    assert f"goes with: {WIND} -" in text
    assert "never came" in text
    document = json.loads(as_json(found))
    assert document["flights"] == FLIGHTS
    assert document["worst"][0]["margin"] == "-inf"
